"""Every patient the flow must serve: the combinations of CLINICAL section 10, impossible pairs left out and counted."""

import itertools
import random
from collections.abc import Iterator

from prompter.care.breathing import (
    BREATHS_PER_MINUTE,
    PUSHES_PER_MINUTE,
    pushes_and_breaths,
    rescue_breaths,
)
from prompter.flow.table import Variant

AGES = ("infant", "child", "adult")
TUBES = ("no tube", "uncuffed", "cuffed")
WAYS = ("open", "hard", "neck only")
YES_OR_NO = (
    "inner tube", "on tube", "helper", "ventilated", "oxygen", "saline", "change at once",
    "change allowed", "past depth", "compressions trained",
)  # fmt: skip
WITH_A_TUBE_ONLY = {"inner tube", "on tube", "ventilated", "change at once", "change allowed", "past depth"}
FURTHER = (
    "oximeter", "smaller spare", "same spare", "guide", "over catheter", "pushes first", "mouth to tube",
    "bleeding cuff", "inner needed for bag",
)  # fmt: skip
WORDS = {
    "name": "Juno", "helper": "Sam", "number": "5 5 5, 0 1 4 2", "depth": "6 and a half centimetres",
    "past_depth": "past 6 and a half centimetres", "saline_ml": "half a millilitre",
    "cuff_ml": "6 millilitres of water", "bleeding_cuff_ml": "2 millilitres",
    "address": "12 Lantern Row, Exampleton", "callback": "5 5 5, 0 1 1 7", "door": "The side door",
    "clinician": "Doctor Imre Vale", "hospital": "Exampleton Hospital", "catheter": "8 French", "suction_s": "5 seconds",
}  # fmt: skip
SUCTION_S = {"infant": 5, "child": 5, "adult": 10}
"""CLINICAL section 9; never over 15 s (Blakeman et al., Respir Care 2022;67(2):258)."""


def possible(age: str, tube: str, way: str, others: frozenset[str]) -> bool:
    if tube == "no tube":
        return way == "neck only" and not others & WITH_A_TUBE_ONLY
    return True


def combinations() -> tuple[list[frozenset[str]], int]:
    """All fact combinations of section 10, and how many were impossible."""
    found, left_out = [], 0
    for age, tube, way in itertools.product(AGES, TUBES, WAYS):
        for chosen in itertools.product((False, True), repeat=len(YES_OR_NO)):
            others = frozenset(name for name, yes in zip(YES_OR_NO, chosen, strict=True) if yes)
            if not possible(age, tube, way, others):
                left_out += 1
                continue
            facts = {age, way, *others}
            if tube != "no tube":
                facts.add("tube")
            if tube == "cuffed":
                facts.add("cuffed")
            found.append(frozenset(facts))
    return found, left_out


def variant(facts: frozenset[str] | set[str], call_after_s: float | None = None) -> Variant:
    """The numbers a plan with these facts would bring."""
    age = next(a for a in AGES if a in facts)
    helped = "helper" in facts
    per_minute = BREATHS_PER_MINUTE[age]
    pushes, breaths = pushes_and_breaths(age, 2 if helped else 1, "compressions trained" in facts)
    if call_after_s is None:
        call_after_s = 0.0 if helped else 30.0
    facts = frozenset(facts) | ({"call at once"} if call_after_s == 0 else set())
    numbers = {
        "breaths_per_minute": per_minute, "breath_s": 1.0, "rescue_breaths": float(rescue_breaths(per_minute)),
        "pushes_per_minute": PUSHES_PER_MINUTE, "pushes_a_cycle": float(pushes), "breaths_a_cycle": float(breaths),
        "suction_s": float(SUCTION_S[age]), "call_after_s": call_after_s, "spo2_floor": 92.0,
    }  # fmt: skip
    return Variant(frozenset(facts), WORDS, numbers)


def drawn(seed: int, count: int) -> Iterator[Variant]:
    """`count` variants of all that are possible, the further facts of a plan drawn as well."""
    rng = random.Random(seed)
    all_of_them, _ = combinations()
    for facts in rng.sample(all_of_them, count):
        yield variant(with_further(facts, rng))


def with_further(facts: frozenset[str], rng: random.Random) -> frozenset[str]:
    more = {fact for fact in FURTHER if rng.random() < 0.5}
    if "tube" not in facts:
        more -= {"smaller spare", "same spare", "guide", "over catheter", "mouth to tube"}
    if "cuffed" not in facts:
        more.discard("bleeding cuff")
    if "inner tube" not in facts:
        more.discard("inner needed for bag")
    if "change allowed" not in facts:
        more.discard("over catheter")
    return facts | more


CHILD = frozenset({"child", "tube", "open", "helper", "oxygen", "saline", "change allowed", "compressions trained",
                   "same spare", "smaller spare", "guide", "oximeter"})  # fmt: skip
"""A child with everything usual and an uncuffed tube."""


def like(*more: str, without: tuple[str, ...] = (), call_after_s: float | None = None) -> Variant:
    """The usual child with some facts more and some fewer; an age or way given replaces the usual one."""
    facts = set(CHILD)
    for group in (AGES, WAYS):
        if set(more) & set(group):
            facts -= set(group)
    return variant(frozenset((facts | set(more)) - set(without)), call_after_s)
