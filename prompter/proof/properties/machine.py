"""The machine's own promises: it never stops, takes back exactly, and does the same again."""

from prompter.proof.properties.property import Property

NEVER_STOPS = Property("nothing stops the machine", "an emergency goes on whatever is said")
UNDO = Property("undo restores exactly", "who has spoken wrongly stands where they stood")
SAME = Property("the same events give the same cues", "a fault seen once is a file that replays")

PROPERTIES = (NEVER_STOPS, UNDO, SAME)
