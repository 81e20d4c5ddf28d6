"""The machine's own promises: it never stops, and takes back exactly."""

from prompter.proof.properties.property import Property

NEVER_STOPS = Property("nothing stops the machine", "an emergency goes on whatever is said")
UNDO = Property("undo restores exactly", "who has spoken wrongly stands where they stood")

SAME = Property("the same events, the same bytes", "an emergency can be walked again, and a fault seen once is a file that replays")

PROPERTIES = (NEVER_STOPS, UNDO, SAME)
