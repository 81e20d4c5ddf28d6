"""Which patients there are to prove a flow for: the facts a plan may bring, and what cannot be together.

The walk does not take one plan after the other. A plan's facts are decided when something first
asks about them, each possible way (as in featured transition systems: Classen et al., IEEE Trans.
Softw. Eng. 2013;39:1069, from memory), so whatever no variant tells apart is walked once.
"""

import itertools
from collections.abc import Iterable, Mapping

from prompter.care.breathing import (
    BREATHS_PER_MINUTE,
    PUSHES_PER_MINUTE,
    pushes_and_breaths,
    rescue_breaths,
)
from prompter.care.catheter import PASS_USUAL_S
from prompter.care.plan import FACTS, for_no_plan
from prompter.flow.document import Flow
from prompter.flow.table import Variant

AGES = ("infant", "child", "adult")
NO_TUBE, UNCUFFED, CUFFED = "no tube", "uncuffed", "cuffed"
CHOICES: dict[str, tuple[str, ...]] = {"tube": (NO_TUBE, UNCUFFED, CUFFED), "way": ("open", "hard", "neck only")}
_CHOICE_OF = {"tube": "tube", "cuffed": "tube", "open": "way", "hard": "way", "neck only": "way"}
SECTION_10 = (
    "inner tube", "on tube", "ventilated", "oxygen", "saline", "change at once", "change allowed",
    "past depth", "compressions trained",
)  # fmt: skip
NEEDS: dict[str, tuple[str, str | bool]] = {
    "inner tube": ("tube", True), "on tube": ("tube", True), "ventilated": ("tube", True),
    "change at once": ("tube", True), "change allowed": ("tube", True), "past depth": ("tube", True),
    "same spare": ("tube", True), "smaller spare": ("tube", True), "guide": ("tube", True),
    "mouth to tube": ("tube", True), "bleeding cuff": ("tube", CUFFED),
    "inner needed for bag": ("inner tube", True), "over catheter": ("change allowed", True),
}  # fmt: skip
"""What a fact cannot be without."""
WORDS = {
    **for_no_plan()[1], "name": "Juno", "helper": "Sam", "number": "5 5 5, 0 1 4 2", "depth": "6 centimetres",
    "saline_ml": "half a millilitre", "cuff_ml": "6 millilitres of water", "bleeding_cuff_ml": "2 millilitres",
    "address": "12 Lantern Row, Exampleton", "callback": "5 5 5, 0 1 1 7", "clinician": "Doctor Imre Vale",
}  # fmt: skip
CALL_AFTER_ALONE_S = 30.0
CALL_AT_ONCE_S = 0.0


class Undecided(Exception):
    """Something asked for a fact that is still open."""

    def __init__(self, dimension: str) -> None:
        self.dimension = dimension


class Facts:
    """A plan's facts as far as they have been decided; asking for another raises Undecided.

    `asked` collects what has been asked for. Facts that come of the same ones are one object a plan,
    so they are compared by identity.
    """

    __slots__ = ("_apart", "_family", "_next", "_told", "asked", "decided")

    def __init__(self, decided: Mapping[str, str | bool], asked: set[str] | None = None) -> None:
        self.decided = decided
        self.asked: set[str] = set() if asked is None else asked
        self._family: dict[frozenset[tuple[str, str | bool]], Facts] = {frozenset(decided.items()): self}
        self._told: dict[object, tuple[str, bool]] = {}
        self._next: dict[str, list[Facts]] = {}
        self._apart: dict[Facts, frozenset[str]] = {}

    def __contains__(self, fact: object) -> bool:
        told = self._told.get(fact)
        if told is None:
            told = self._told[fact] = self._tell(fact)
        self.asked.add(told[0])
        return told[1]

    def _tell(self, fact: object) -> tuple[str, bool]:
        dimension = _CHOICE_OF.get(fact, fact)  # type: ignore[call-overload]
        self.asked.add(dimension)
        if dimension not in self.decided:
            raise Undecided(dimension)
        value = self.decided[dimension]
        if dimension == "tube":
            return dimension, value == CUFFED if fact == "cuffed" else value != NO_TUBE
        return dimension, value == fact if dimension == "way" else bool(value)

    def possibilities(self, dimension: str) -> "list[Facts]":
        """Every way this may be decided; what it depends on is decided with it."""
        if dimension not in self._next:
            self._next[dimension] = [self.relative(decided) for decided in _decide(dimension, dict(self.decided))]
        return self._next[dimension]

    def relative(self, decided: Mapping[str, str | bool]) -> "Facts":
        """The one of this family with these decisions."""
        key = frozenset(decided.items())
        if key not in self._family:
            one = self._family[key] = Facts(decided, self.asked)
            one._family = self._family
        return self._family[key]

    def apart(self, other: "Facts") -> frozenset[str]:
        """Where these are decided and the others are not, or otherwise."""
        if other not in self._apart:
            self._apart[other] = frozenset(f for f, value in self.decided.items() if value != other.decided.get(f))
        return self._apart[other]

    def settled(self) -> frozenset[str]:
        """One whole plan like this: what is open is settled the simplest possible way."""
        decided = dict(self.decided)
        for dimension in (*CHOICES, *(f for f in FACTS if f not in _CHOICE_OF and f not in _NOT_DIMENSIONS)):
            if dimension not in decided:
                options = list(_decide(dimension, decided))
                decided = next((o for o in options if o[dimension] in (False, UNCUFFED, "open", "neck only")), options[0])
        return facts_of(decided)


_NOT_DIMENSIONS = {*AGES, "helper", "call at once"}


def facts_of(decided: Mapping[str, str | bool]) -> frozenset[str]:
    """The facts a decided plan has."""
    facts = {name for name, value in decided.items() if value is True}
    if decided["tube"] != NO_TUBE:
        facts.add("tube")
    if decided["tube"] == CUFFED:
        facts.add("cuffed")
    return frozenset(facts | {str(decided["way"])})


def _decide(dimension: str, decided: dict[str, str | bool]) -> Iterable[dict[str, str | bool]]:
    if dimension in decided:
        yield decided
        return
    if dimension in CHOICES:
        for value in CHOICES[dimension]:
            if dimension == "way" and value != "neck only" and decided.get("tube") == NO_TUBE:
                continue
            if dimension == "tube" and value == NO_TUBE and decided.get("way", "neck only") != "neck only":
                continue
            yield {**decided, dimension: value}
        return
    needed = NEEDS.get(dimension)
    if needed is None:
        yield {**decided, dimension: True}
        yield {**decided, dimension: False}
        return
    for before in _decide(needed[0], decided):
        had = before[needed[0]]
        possible = had == needed[1] if isinstance(needed[1], str) else had not in (False, NO_TUBE)
        if possible:
            yield {**before, dimension: True}
        yield {**before, dimension: False}


def combinations() -> tuple[int, int]:
    """How many variants CLINICAL section 10 names are possible, and how many are not (helper and age included)."""
    possible = impossible = 0
    for tube, way in itertools.product(CHOICES["tube"], CHOICES["way"]):
        for chosen in itertools.product((False, True), repeat=len(SECTION_10)):
            without = tube == NO_TUBE and (way != "neck only" or any(c and f in NEEDS for f, c in zip(SECTION_10, chosen, strict=True)))
            possible, impossible = possible + (not without), impossible + without
    return possible * len(AGES) * 2, impossible * len(AGES) * 2


def numbers(age: str, helper: bool, trained: bool, call_after_s: float) -> dict[str, float]:
    """What a plan for this age brings by default."""
    per_minute = BREATHS_PER_MINUTE[age]  # type: ignore[index]
    pushes, breaths = pushes_and_breaths(age, 2 if helper else 1, trained)  # type: ignore[arg-type]
    return {
        "breaths_per_minute": float(per_minute), "breath_s": 1.0, "rescue_breaths": float(rescue_breaths(per_minute)),
        "pushes_per_minute": float(PUSHES_PER_MINUTE), "pushes_a_cycle": float(pushes), "breaths_a_cycle": float(breaths),
        "suction_s": float(PASS_USUAL_S[age]), "call_after_s": call_after_s, "spo2_floor": 92.0,  # type: ignore[index]
    }  # fmt: skip


def open_variant(age: str) -> Variant:
    """Every plan of one age: facts open, the call after the longest usual time."""
    return Variant(None, WORDS, numbers(age, False, True, CALL_AFTER_ALONE_S))


def words_only(flow: Flow) -> frozenset[str]:
    """Facts that change what is said and nothing else in this flow."""
    moving: set[str] = set()
    arms = [*flow.everywhere.values(), *(a for s in flow.steps.values() for a in s.answers.values())]
    for several in arms:
        if len({repr(arm.model_copy(update={"when": [], "say": [], "say_summary": False})) for arm in several}) > 1:
            moving |= _facts_in(c for arm in several for c in arm.when)
    for step in flow.steps.values():
        moving |= _facts_in([*step.only_if, *(c for s in step.silent for c in s.when)])
    for way in flow.ways.values():
        moving |= _facts_in(c for line in way for c in line.when)
    moving |= _facts_in([*(c for line in flow.rules.breath_gap for c in line.when), *flow.call.at_once_if])
    return frozenset(f for f in FACTS if f not in moving and f not in _CHOICE_OF and f not in _NOT_DIMENSIONS)


def _facts_in(conditions: Iterable[str]) -> set[str]:
    return {c.removeprefix("not ") for c in conditions if c.removeprefix("not ") in FACTS}


def begun(flow: Flow, start: str, plans: Facts | None = None) -> list[Facts]:
    """All plans at once for which an emergency may begin at this step: what it is only for is decided."""
    found = [plans or undecided(flow)]
    for condition in flow.steps[start].only_if:
        found = [one for facts in found for one in facts.possibilities(condition) if one.decided[condition]]
    return found


def undecided(flow: Flow) -> Facts:
    """All plans at once; what only changes words is settled with the most words."""
    settled = {f: True for f in sorted(words_only(flow)) if f not in NEEDS}
    settled |= {f: False for f in sorted(words_only(flow)) if f in NEEDS}
    return Facts(settled)
