"""Only what this home has is spoken of, only to who is there, one way at a time, and nothing untrue to the crew."""

import re
from collections.abc import Callable
from functools import cache

from prompter.events import Say
from prompter.proof.properties.property import Property
from prompter.proof.variants import WORDS
from prompter.proof.watch import Edge, Findings, Watch

Holds = Callable[[Edge], bool]

THERE = Property("only what is there is spoken of", "what the home lacks, or has lost, cannot be used; who is not there cannot help")
ONE_WAY = Property("one way at a time", "two ways of one thing, told together, are neither done")
ONCE = Property("asked for once", "the same errand again costs a prompt")
TRUE = Property("the crew is told what is so", "all that is known, and nothing else")
INNER = Property("the inner tube before the bag", "some bags hold to the inner tube alone")

PROPERTIES = (THERE, ONE_WAY, ONCE, TRUE, INNER)


def _fact(name: str) -> Holds:
    return lambda edge: name in edge.facts


def _mark(name: str) -> Holds:
    return lambda edge: name in edge.scene.machine.memory.marks or name in edge.before_marks


def _unmarked(name: str) -> Holds:
    return lambda edge: name not in edge.scene.machine.memory.marks or name not in edge.before_marks


_NEEDS: tuple[tuple[re.Pattern[str], Holds], ...] = tuple(
    (re.compile(words, re.IGNORECASE), holds)
    for words, holds in (
        (f"^{WORDS['helper']}: ", _mark("helper")),
        ("^keep holding the tube|^gauze on the neck hole", lambda edge: "helper" not in edge.scene.machine.memory.marks or "helper" not in edge.before_marks),
        ("inner tube", _fact("inner tube")),
        ("^clean inner tube", _fact("inner needed for bag")),
        ("cap or valve", _fact("on tube")),
        ("tube in the neck|keep this tube", _fact("tube")),
        ("oxygen on|oxygen hissing", _fact("oxygen")),
        ("oxygen hissing", lambda edge: edge.before_known["oxygen"] == "unknown"),
        ("oxygen on|oxygen hissing", lambda edge: edge.scene.machine.memory.known["oxygen"] != "none" or edge.before_known["oxygen"] != "none"),
        ("^oxygen number|sensor", _fact("oximeter")),
        ("^bag on", _unmarked("no bag")),
        ("^keep squeezing\\.", lambda edge: edge.scene.machine.memory.counts.get("rescued", 0) > 0 or _mark("on route")(edge)),
        ("^breathe into", _mark("no bag")),
        ("^breathe into", _fact("mouth to tube")),
        ("^suction (now|again|first|the)", _unmarked("suction dead")),
        ("resistance|^back one", _fact("past depth")),
        ("add air", _fact("bleeding cuff")),
        ("^pull the guide", _mark("changed")),
        ("silence the alarm", _fact("ventilated")),
        ("^saline in", _fact("saline")),
        ("^squeeze when", lambda edge: edge.scene.machine.memory.known["breathing"] == "trouble"),
    )
)  # fmt: skip
_TWO_WAYS = tuple(
    (re.compile(one, re.IGNORECASE), re.compile(other, re.IGNORECASE))
    for one, other in (
        ("mask over mouth", "^small mask"), ("^squeeze with", "^squeeze when"), ("^bag on", "^breathe into"), ("oxygen on the neck", "oxygen on face"),
        (": (press )?gauze", "^gauze"), (": tie the tube", "^keep holding"), ("^suction now\\.$", "^suction now\\. depth"),
    )
)  # fmt: skip
_ONCE = re.compile(r"oxygen on, highest|oxygen hissing", re.IGNORECASE)
_TOLD: dict[str, Holds] = {
    "Breathes through a neck tube.": lambda edge: "neck only" not in edge.facts,
    "Breathes only through the neck.": _fact("neck only"),
    "Breathing had stopped.": lambda edge: _known(edge, "breathing") == "no",
    "The catheter did not pass.": lambda edge: _known(edge, "passed") == "no",
    "The catheter passed.": lambda edge: _known(edge, "passed") == "yes",
    "No tube in now.": lambda edge: _known(edge, "tube") == "out",
    "A new tube is in.": lambda edge: _marked(edge, "changed") and _known(edge, "size") == "same",
    "A smaller tube is in.": lambda edge: _marked(edge, "changed") and _known(edge, "size") == "smaller",
    "Chest rises with the bag.": lambda edge: _known(edge, "rise") == "yes",
    "Chest did not rise.": lambda edge: _known(edge, "rise") == "no",
    "Saline went in.": lambda edge: _marked(edge, "saline given"),
    "There is bleeding.": lambda edge: _marked(edge, "bleeding"),
    "Pushes are going on.": lambda edge: _marked(edge, "pushing"),
    "The oxygen is empty.": lambda edge: _known(edge, "oxygen") == "none",
}
"""What is told to the crew, and when it is so: written a second time, apart from the flow."""


def _known(edge: Edge, name: str) -> str:
    return edge.scene.machine.memory.known[name]


def _marked(edge: Edge, name: str) -> bool:
    return name in edge.scene.machine.memory.marks


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    if edge.answer == "wrong":
        watch.inner_out, watch.inner_may_be_out = False, watch.inner_was_out
    if watch.errands and (edge.answer == "wrong" or edge.scene.machine.outcome != "open"):
        watch.errands = frozenset()
    if edge.answer == "tell them":
        _told(edge, found)
    if not edge.says:
        return
    either_way = 0
    for say in edge.says:
        if say.role in ("echo", "call"):
            continue
        needs, errand, inner, (one, _) = _of(say.text)
        either_way |= one
        for pattern, holds in needs:
            if holds(edge):
                found.check(THERE.name, True)
            else:
                found.check(THERE.name, False, f"{say.text!r} at {say.step!r}: {pattern.pattern!r} is not for this patient now")
        if errand:
            found.check(ONCE.name, errand not in watch.errands, f"{say.text!r} again at {say.step!r}")
            watch.errands |= {errand}
        if inner:
            _inner(watch, say, edge, found)
    if either_way and len(edge.says) > 1:
        _one_way(edge, found)


def _one_way(edge: Edge, found: Findings) -> None:
    """Of what is said together at a step."""
    steps: dict[str, list[tuple[int, int]]] = {}
    for say in edge.says:
        if say.role not in ("echo", "call"):
            steps.setdefault(say.step, []).append(_of(say.text)[3])
    for step, said in steps.items():
        if len(said) > 1:
            ones = others = 0
            for one_way, other_way in said:
                ones, others = ones | one_way, others | other_way
            for at, (one, other) in enumerate(_TWO_WAYS) if ones else ():
                if ones & 1 << at:
                    found.check(ONE_WAY.name, not others & 1 << at, f"{one.pattern!r} and {other.pattern!r} at {step!r}")


def _told(edge: Edge, found: Findings) -> None:
    said = [say.text for say in edge.says if say.text in _TOLD]
    so = [text for text, holds in _TOLD.items() if holds(edge)]
    found.check(TRUE.name, said == so, f"told {said}, so is {so}")


def _inner(watch: Watch, say: Say, edge: Edge, found: Findings) -> None:
    """What was taken out goes in again, once, and nothing else does."""
    if say.text.startswith("Inner tube out"):
        watch.inner_out = watch.inner_was_out = True
    elif say.text.startswith("Clean inner tube in"):
        may_be_out = watch.inner_out or watch.inner_may_be_out or say.step == "inner-in"
        found.check(THERE.name, may_be_out, f"{say.text!r} at {say.step!r}, and it is not out")
        watch.inner_out = watch.inner_may_be_out = False
    elif say.text.startswith("Fill the cuff"):
        found.check(THERE.name, watch.cuff_empty or say.step == "cuff-fill", f"{say.text!r} at {say.step!r}, and it is not empty")
    elif say.text.startswith("Bag on"):
        found.check(INNER.name, not (watch.inner_out and "inner needed for bag" in edge.facts), f"{say.text!r} at {say.step!r} without the inner tube")


@cache
def _of(text: str) -> tuple[tuple[tuple[re.Pattern[str], Holds], ...], str, bool, tuple[int, int]]:
    """What it needs, which errand it is, whether it is about what is out and goes in again, and of which ways it is (bits of `_TWO_WAYS`)."""
    errand = _ONCE.search(text)
    needs = tuple((pattern, holds) for pattern, holds in _NEEDS if pattern.search(text))
    one, other = (sum(1 << at for at, pair in enumerate(_TWO_WAYS) if pair[side].search(text)) for side in (0, 1))
    return needs, errand.group().lower() if errand else "", text.startswith(("Inner tube out", "Clean inner tube in", "Fill the cuff", "Bag on")), (one, other)
