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
ECHO = Property("what was heard is said back once", "said twice, the next step comes two seconds later")

PROPERTIES = (TWELVE, FIVE, NECK, CUFF, SALINE, VENT, TUBE, ECHO)
_ADDRESS = ("Address:", "Again. Address", "Call back:")


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    for sound in edge.heard:
        _heard(sound, sound.say, edge, found)
    if edge.answer:
        echoes = [say.text for say in edge.says if say.role == "echo"]
        found.check(ECHO.name, len(set(echoes)) == len(echoes), lambda: f"{echoes} at {edge.source!r}")


def _heard(sound: Heard, say: Say, edge: Edge, found: Findings) -> None:
    words, only_with = _asks(say.text)
    if words:
        found.measure(TWELVE.name, words, MOST, say.text)
        if sound.paced:
            found.measure(FIVE.name, words, MOST_PACED, lambda: f"{say.text!r} over a beat at {say.step!r}")
    if only_with and say.role not in ("echo", "call"):
        for name, fact, has in only_with:
            found.check(name, (fact in edge.facts) is has, lambda: f"{say.text!r} at {say.step!r}")


@cache
def _asks(text: str) -> tuple[int, tuple[tuple[str, str, bool], ...]]:
    """Its words (0: an address has as many as it has); properties of which it is, with the fact that must hold for it or must not."""
    low = text.lower()
    only_with = (
        (NECK, "neck only", False, any(word in low for word in NECK_ONLY)),
        (CUFF, "cuffed", True, "cuff" in low),
        (SALINE, "saline", True, "saline in the" in low),
        (VENT, "ventilated", True, "vent" in low.replace("?", "").split()),
        (TUBE, "tube", True, "new tube" in low or "old one" in low or "smaller tube" in low),
    )
    return 0 if text.startswith(_ADDRESS) else count(text), tuple((prop.name, fact, has) for prop, fact, has, concerned in only_with if concerned)


def count(text: str) -> int:
    """Words; digits spoken one by one count as one number."""
    words = text.split()
    return sum(not (w.strip(",.").isdigit() and i and words[i - 1].strip(",.").isdigit()) for i, w in enumerate(words))
