"""Nobody says a word: for every plan there is, when breaths and the call come."""

from collections.abc import Container, Iterator, Sequence
from dataclasses import replace
from itertools import product

from prompter.flow.document import Flow
from prompter.flow.machine import FlowMachine
from prompter.flow.table import Table
from prompter.proof.found import Path, Walked
from prompter.proof.properties.property import Property
from prompter.proof.rows import RowEngine
from prompter.proof.scene import BeatBegan, Heard, Scene
from prompter.proof.variants import (
    CALL_AFTER_ALONE_S,
    CALL_AT_ONCE_S,
    Facts,
    Undecided,
    begun,
    numbers,
)
from prompter.proof.watch import BREATH_WORDS, CALL_WORDS

FIRST_S = {"ventilated": 20, "something to take off": 60, "other": 45}
LATE_S, LONGEST_MS = 5, 120_000

FIRST = {
    kind: Property(f"silence to the first breath prompt ({kind})", "nobody answers: breaths all the same", limit=most, unit="s")
    for kind, most in FIRST_S.items()
}
CALL = Property("silence to the call", "the plan's time, at once for a ventilated patient", limit=LATE_S, unit="s late")
PROPERTIES = (*FIRST.values(), CALL)


PLANS = ((False, CALL_AFTER_ALONE_S), (True, CALL_AT_ONCE_S))
"""Helper or not, and when the call is asked for."""


def walk_silence(flow: Flow, table: Table, age: str, into: Walked, plans: Sequence[tuple[bool, float]] = PLANS, facts: Container[str] | None = None, starts: Sequence[str] = ()) -> int:
    """Measures every plan (or the one with these `facts`) from every start (or these); returns how many of them silence tells apart."""
    told_apart, engine = 0, RowEngine(table)
    begin = [(start, one) for start in starts or flow.starts for one in (begun(flow, start) if facts is None else [facts])]
    for (start, given), (helper, after_s) in product(begin, plans):
        variant = replace(table.variant, numbers=numbers(age, helper, True, after_s))
        timed = Table(flow, variant, table.stands, table.rows)
        machine = FlowMachine(timed, engine)
        machine.step = start
        machine.memory.facts = given
        if helper:
            machine.memory.marks.add("helper")
        for plan, _, first, called, passed in _runs(Scene(machine), machine.memory.facts):
            told_apart += 1
            into.moves += passed
            due = 0 if "ventilated" in plan else after_s
            way = Path(age, helper, dict(getattr(plan, "decided", {})), [passed], start)
            measure(into, FIRST[kind_of(plan)], first, way)
            measure(into, CALL, max(0, called - due), way)
    return told_apart


def kind_of(facts: Facts) -> str:
    """Which of the three limits of CLINICAL section 10 is meant."""
    if "ventilated" in facts:
        return "ventilated"
    return "something to take off" if "on tube" in facts or "inner tube" in facts else "other"


def measure(into: Walked, prop: Property, value: float, way: Path) -> None:
    fresh = prop.name not in into.findings.failed
    into.findings.measure(prop.name, round(value, 3), prop.limit or 0, f"{value:g} {prop.unit}")
    if fresh and prop.name in into.findings.failed:
        into.traces[prop.name] = way


def _runs(start: Scene, facts: Facts) -> Iterator[tuple[Facts, Scene, float, float, int]]:
    todo: list[tuple[Scene, Facts, int, float, float]] = [(start, facts, -1, -1.0, -1.0)]
    while todo:
        scene, facts, passed, first, called = todo.pop()
        scene.machine.memory.facts = facts
        while scene.now < LONGEST_MS and (first < 0 or called < 0):
            ahead = scene.fork()
            try:
                if passed < 0:
                    ahead.start()
                else:
                    ahead.pass_time()
                if first >= 0 or _breath(ahead) >= 0 or ahead.now >= LONGEST_MS:
                    kind_of(facts)
            except Undecided as open_fact:
                todo += [(scene.fork(), more, passed, first, called) for more in facts.possibilities(open_fact.dimension)]
                break
            scene, passed = ahead, passed + 1
            first = first if first >= 0 else _breath(scene)
            called = called if called >= 0 else _call(scene)
        else:
            yield facts, scene, first if first >= 0 else LONGEST_MS / 1000, called if called >= 0 else LONGEST_MS / 1000, passed


def _breath(scene: Scene) -> float:
    for sound in scene.sounds:
        if type(sound) is Heard and BREATH_WORDS.search(sound.say.text) or type(sound) is BeatBegan and sound.pace.what != "suction":
            return sound.at_ms / 1000
    return -1


def _call(scene: Scene) -> float:
    return next((s.at_ms / 1000 for s in scene.sounds if type(s) is Heard and CALL_WORDS.search(s.say.text)), -1)
