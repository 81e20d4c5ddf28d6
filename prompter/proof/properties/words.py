"""Words as they are heard: no longer than hands allow, and only what this patient's plan has."""

from functools import cache

from prompter.events import Say
from prompter.proof.properties.property import Property
from prompter.proof.scene import Heard
from prompter.proof.watch import Edge, Findings, Watch

MOST, MOST_PACED = 12, 5
NECK_ONLY = ("mouth", "nose", "cover", "chin", "head back", "face")

TWELVE = Property("twelve words at most", "more is not kept in mind", limit=MOST, unit="words")
FIVE = Property("five words over a beat", "the beat goes on under them", limit=MOST_PACED, unit="words")
NECK = Property("neck-only never hears of mouth or nose", "they lead nowhere, and cost time")
CUFF = Property("uncuffed never hears of a cuff", "there is none")
SALINE = Property("no saline without an order", "an order is the clinician's")
VENT = Property("no ventilator, no vent", "what is not there is not spoken of")
TUBE = Property("no tube, no tube words", "who has only the neck hole has no tube to change")

PROPERTIES = (TWELVE, FIVE, NECK, CUFF, SALINE, VENT, TUBE)
_ADDRESS = ("Address:", "Again. Address", "Call back:")


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    for sound in edge.heard:
        _heard(sound, sound.say, edge, found)


def _heard(sound: Heard, say: Say, edge: Edge, found: Findings) -> None:
    text, words, neck = _low(say.text)
    if not say.text.startswith(_ADDRESS):
        found.measure(TWELVE.name, words, MOST, say.text)
        if sound.paced:
            found.measure(FIVE.name, words, MOST_PACED, lambda: f"{say.text!r} over a beat at {say.step!r}")
    if say.role in ("echo", "call"):
        return
    if neck:
        found.check(NECK.name, "neck only" not in edge.facts, f"{say.text!r} at {say.step!r}")
    if "cuff" in text:
        found.check(CUFF.name, "cuffed" in edge.facts, f"{say.text!r} at {say.step!r}")
    if "saline in the" in text:
        found.check(SALINE.name, "saline" in edge.facts, f"{say.text!r} at {say.step!r}")
    if "vent" in text.replace("?", "").split():
        found.check(VENT.name, "ventilated" in edge.facts, f"{say.text!r} at {say.step!r}")
    if "new tube" in text or "old one" in text or "smaller tube" in text:
        found.check(TUBE.name, "tube" in edge.facts, f"{say.text!r} at {say.step!r}")


@cache
def _low(text: str) -> tuple[str, int, bool]:
    """In small letters; its words; whether it is not for who breathes through the neck alone."""
    low = text.lower()
    return low, count(text), any(word in low for word in NECK_ONLY)


def count(text: str) -> int:
    """Words; digits spoken one by one count as one number."""
    words = text.split()
    return sum(not (w.strip(",.").isdigit() and i and words[i - 1].strip(",.").isdigit()) for i, w in enumerate(words))
