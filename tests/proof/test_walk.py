"""The walk itself: the same machine as in an emergency, the same states as random emergencies reach, and no fault overlooked."""

import random

import pytest
from driver import canonical, engine_for, table_for
from variants import drawn

from prompter.events import Answered, Numbered, Resumed, SpeechStarted, Ticked, Unclear
from prompter.flow.call import ROWS, STEPS, Call
from prompter.flow.document import Flow
from prompter.flow.machine import FlowMachine
from prompter.flow.memory import Memory
from prompter.flow.table import BUILT_IN, build
from prompter.proof import properties
from prompter.proof.abstract import States
from prompter.proof.check import walk_one
from prompter.proof.forking import RememberingMachine
from prompter.proof.found import Walked
from prompter.proof.properties.machine import SAME
from prompter.proof.rows import PlainCall, RowEngine
from prompter.proof.scene import Scene
from prompter.proof.texts import GRADE, look_at_texts
from prompter.proof.variants import Facts, open_variant, undecided
from prompter.proof.walk import MOVES, WORDS, Walk
from prompter.proof.watch import Edge, Findings, Stood, Watch, follow

TURNS = 60


class OpenFacts:
    """A whole plan's facts for a table that has left them open."""

    def __init__(self, facts: frozenset[str]) -> None:
        self.facts = facts

    def __contains__(self, fact: object) -> bool:
        return fact in self.facts


def live(scene: Scene, rng: random.Random) -> list:
    """One random emergency; all that was cued."""
    cues = []
    scene.start()
    cues += scene.cues
    answers = [a for a in scene.machine.table.flow.answers if a not in ("finished", "close it")]
    for _ in range(TURNS):
        for _ in range(rng.choice([0, 1, 2, 4, 8])):
            scene.pass_time()
            cues += scene.cues
        own = [a for a in scene.machine.table.stands[scene.machine.step].own_answers if a in answers]
        answer = rng.choice(own) if own and rng.random() < 0.7 else rng.choice(answers)
        event = Answered(scene.now, answer, answer) if rng.random() < 0.9 else Numbered(scene.now, "spo2", rng.choice([80, 97]))
        scene.happen(event)
        cues += scene.cues
    return cues


@pytest.mark.parametrize("seed", range(6))
def test_one_open_table_and_plain_rows_do_what_each_plans_own_table_does(flow, seed):
    """The walk's table and engine against those of an emergency: the same cues, byte for byte."""
    variant = next(drawn(seed, 1))
    own = Scene(FlowMachine(table_for(variant), engine_for(table_for(variant))))
    table = build(flow, type(variant)(None, variant.words, variant.numbers))
    machine = FlowMachine(table, RowEngine(table))
    machine.memory.facts = OpenFacts(variant.facts)
    machine.memory.marks |= variant.facts & {"helper"}
    assert canonical(live(own, random.Random(seed))) == canonical(live(Scene(machine), random.Random(seed)))


@pytest.mark.parametrize("seed", range(4))
def test_a_machine_that_remembers_its_deadline_does_what_one_does_that_does_not(seed):
    """The simulator's against an emergency's, a stop in the middle included: the same cues, byte for byte, and the same next deadline."""
    table = table_for(next(drawn(seed, 1)))
    usual, remembering = FlowMachine(table, engine_for(table)), RememberingMachine(table, RowEngine(table))
    scene, twin = Scene(usual), Scene(remembering)
    assert canonical(live(scene, random.Random(seed))) == canonical(live(twin, random.Random(seed)))
    for event in (Resumed(scene.now, 5_000), Answered(scene.now, "no phone", "no phone"), Answered(scene.now, "worse", "worse"), Ticked(scene.now + 60_000)):
        assert canonical(usual.feed(event)) == canonical(remembering.feed(event))
        assert usual.next_deadline_ms() == remembering.next_deadline_ms()


@pytest.mark.parametrize("step", STEPS)
def test_the_call_takes_the_same_rows_plainly(flow, step):
    """Against the library's engine, which the call of an emergency asks."""
    table = build(flow, open_variant("adult"))
    for trigger in {row[0] for row in ROWS}:
        usual, plain = Call(table), PlainCall(table)
        usual.step = plain.step = step
        usual._take(trigger)
        plain._take(trigger)
        assert usual.step == plain.step


def edges(scene: Scene, rng: random.Random, facts):
    """The moves of one random emergency, each as the properties see it."""
    answers = [a for a in scene.machine.table.flow.answers if a not in ("finished", "close it")]

    def edge(event, happens):
        step, before = scene.machine.step, Stood(scene.machine.memory)
        happens()
        return Edge(event, step, before, scene, facts)

    yield edge(None, scene.start)
    for _ in range(TURNS):
        for _ in range(rng.choice([0, 1, 2, 4, 8])):
            yield edge(None, scene.pass_time)
        own = [a for a in scene.machine.table.stands[scene.machine.step].own_answers if a in answers]
        answer = rng.choice(own) if own and rng.random() < 0.7 else rng.choice(answers)
        event = rng.choice([*[Answered(scene.now, answer, answer)] * 7, Numbered(scene.now, "spo2", 80), Unclear(scene.now, None, answer), SpeechStarted(scene.now)])
        yield edge(event, lambda event=event: scene.happen(event))


def _seen(watch, edge, look, look_after):
    found = Findings()
    look(watch, edge, found)
    follow(watch, edge)
    look_after(watch, edge, found)
    return found.failed, found.worst, dict(found.looked)


@pytest.mark.parametrize("fault", [None, "too many test breaths", "no second route", "the guide stays in", "breaths come too late"])
def test_who_is_asked_only_where_there_is_something_to_see_sees_as_much(flow, fault):
    """The properties asked by what a move brings, against all of them asked at every move; with faults as well."""
    flow, moves, failed = broken(flow, FAULTS[fault][0]) if fault else flow, 0, set()
    for seed in range(12):
        variant = next(drawn(seed, 1))
        table = build(flow, variant)
        scene = Scene(FlowMachine(table, RowEngine(table)))
        watch, other = Watch(), Watch()
        for edge in edges(scene, random.Random(seed), variant.facts):
            few = _seen(watch, edge, properties.look, properties.look_after)
            assert few == _seen(other, edge, properties.look_at_all, properties.look_after_at_all)
            assert watch == other
            failed |= set(few[0])
            moves += 1
    assert moves > 1_000
    assert failed or not fault


def test_a_fork_goes_its_own_way_and_the_original_stays(flow):
    variant = next(drawn(3, 1))
    scene = Scene(FlowMachine(table_for(variant), engine_for(table_for(variant))))
    scene.start()
    for answer in ("in place", "not breathing", "came out"):
        scene.happen(Answered(scene.now, answer, answer))
    twin, other = scene.fork(), scene.fork()
    live_on = [Answered(scene.now, a, a) for a in ("stuck", "wrong", "wrong", "limp")]
    first = [cue for event in live_on for cue in twin.machine.feed(event)]
    second = [cue for event in live_on for cue in other.machine.feed(event)]
    third = [cue for event in live_on for cue in scene.machine.feed(event)]
    assert canonical(first) == canonical(second) == canonical(third) and first
    assert twin.machine.feed(Ticked(scene.now + 90_000)) and scene.machine.next_deadline_ms() < scene.now + 90_000


@pytest.fixture(scope="module")
def walked(flow):
    walk = Walk(flow, "child", part=MOVES)
    walk.run()
    return walk


ONLY_BY_WORDS_THAT_DO_NOT_MOVE = {"number-back", "guide-breaths", "handed-over"}
"""Numbers, late words and the crew: left out of the walk that is made here, in the check they are walked."""


def test_every_step_is_reached_and_every_property_holds(walked):
    assert walked.found.findings.failed == {}
    assert set(walked.table.stands) - {key[0] for key in walked._seen} <= {"closed", *ONLY_BY_WORDS_THAT_DO_NOT_MOVE}
    assert walked.found.moves >= 20_000


def test_what_random_emergencies_reach_was_walked(flow, walked):
    """Any ten answers, plans and moments: the states they come to are the walk's.

    All but a few in a thousand: what a state does not tell apart is walked as it was first met.
    """
    states, table, reached, missed = States(walked.table), walked.table, 0, {}
    for seed in range(60):
        rng, machine = random.Random(seed), FlowMachine(table, walked.engine)
        plan = _any_plan(undecided(flow), rng)
        machine.memory.facts = plan
        scene = Scene(machine)
        scene.start()
        answers = [a for a in flow.answers if a not in BUILT_IN]
        for _ in range(10):
            for _ in range(rng.choice([0, 1, 3, 6])):
                scene.pass_time()
            own = [a for a in table.stands[machine.step].own_answers if a in answers]
            answer = rng.choice(own) if own and rng.random() < 0.7 else rng.choice(answers)
            scene.happen(Answered(scene.now, answer, answer))
            if machine.closed:
                break
            if machine.memory.pending is None:
                reached += 1
                if states.coarse(scene) not in walked._seen:
                    missed[states.coarse(scene)] = seed
    assert reached > 300
    assert len(missed) <= reached * MISSED_MOST, missed


MISSED_MOST = 0.01


def _any_plan(facts: Facts, rng: random.Random) -> Facts:
    for dimension in ("tube", "way", *NAMES):
        facts = rng.choice(facts.possibilities(dimension))
    return facts


NAMES = ("inner tube", "on tube", "ventilated", "saline", "change at once", "change allowed", "compressions trained", "pushes first",
         "smaller spare", "over catheter", "oximeter", "inner needed for bag", "oxygen", "mouth to tube", "bleeding cuff", "past depth",
         "same spare", "guide")  # fmt: skip


def broken(flow: Flow, change) -> Flow:
    data = flow.model_dump(by_alias=True)
    change(data)
    return Flow.model_validate(data)


def _set(*path):
    *way, last, value = path

    def change(data):
        for part in way:
            data = data[part]
        data[last] = value

    return change


def _no_limit(data):
    for lines in data["ways"].values():
        for line in lines:
            line["if"] = ["tries >= 9" if condition == "tries >= 3" else condition for condition in line["if"]]


def _too_late(data):
    """Nobody asks for breaths, and silence waits long where they have begun."""
    data["rules"]["breath_gap"][-1]["after_s"] = 90.0
    for step in ("look", "lips", "tap"):
        for silent in data["steps"][step]["silent"]:
            silent["act_s"] = 60.0


FAULTS = {  # a fault, and the property that is there to see it
    "breaths come too late": (_too_late, "breaths never too far apart"),
    "a question in the first beats": (_set("rules", "ask_after_beat_s", 1.0), "no question in the first beats"),
    "too many test breaths": (_set("rules", "test_breaths", 4), "two test breaths at most"),
    "the call's reminder is rare": (_set("call", "reminder_s", 60.0), "reminders of the call"),
    "good news is not checked": (_set("steps", "last-bag", "answers", "better", 0, "confirm", False), "good news is checked"),
    "the second time comes too late": (_set("rules", "confirm_within_s", 7.0), "good news said again in time counts"),
    "silence puts a smaller tube in": (_set("steps", "look", "silent", 0, "go", "ties"), "silence never takes a tube out"),
    "no breaths asks for no call": (_set("everywhere", "not breathing", 0, "call", None), "the call is asked for in time"),
    "bleeding is not kept": (_set("everywhere", "bleeding", 0, "set", []), "'bleeding' reaches its row"),
    "no limit to tubes": (_no_limit, "three tubes at most"),
    "a prompt is too long over a beat": (_set("steps", "neck-only-mask", "ask", [{"if": [], "say": "Is the chest of the child still flat?", "set": []}]),
                                         "five words over a beat"),
    "the cuff stays empty": (_set("steps", "cuff-fill", "say", [{"if": [], "say": "Hold on tight.", "set": []}]), "an emptied cuff is filled again"),
    "no second route": (_set("steps", "mouth-mask", "answers", "flat", [{"stay": True, "say": ["Press the mask tighter."]}]), "a second route"),
    "a mask that does not help who breathes by the neck alone": (_set("ways", "route", 0, "go", "mouth-mask"), "neck-only stays at the neck"),
    "pushes never come back": (_set("ways", "put-back-way", 0, "if", ["tries >= 9"]), "pushes go on"),
    "the guide stays in": (_set("steps", "guide-out", "say", [{"if": [], "say": "Wait a little.", "set": []}]), "guide out before breaths"),
}  # fmt: skip


NEEDS_COUNTS = {"no limit to tubes", "no second route"}
"""Only the whole walk tells one try from the next."""


@pytest.mark.parametrize("fault", FAULTS)
def test_a_seeded_fault_is_found_by_the_property_meant_for_it(flow, fault):
    change, name = FAULTS[fault]
    found, _, _ = walk_one(broken(flow, change), "child", WORDS if fault in NEEDS_COUNTS else MOVES, stop_at_first=True, only=name)
    assert name in found.findings.failed, found.findings.failed
    assert name in found.traces, "with the way that leads there"


def test_a_machine_that_remembers_across_forks_is_found(flow, monkeypatch):
    """What one branch does must not be seen in another: here the memory is shared."""
    monkeypatch.setattr(Memory, "copy", lambda memory: memory)
    found, _, _ = walk_one(flow, "child", MOVES, stop_at_first=True, only=SAME.name)
    assert SAME.name in found.findings.failed


def test_hard_words_are_found(flow):
    def hard(data):
        for step in data["steps"].values():
            for number, line in enumerate((*step["say"], *step["then_say"], *step["ask"])):
                line["say"] = f"Immediately initiate ventilatory resuscitation procedure number {number} of {step['title']}."

    found = Walked("child")
    twin = broken(flow, hard)
    look_at_texts(twin, build(twin, open_variant("child")), found)
    assert GRADE.name in found.findings.failed


def test_silence_until_too_late_is_found(flow):
    found, _, _ = walk_one(broken(flow, _set("steps", "tube-check", "silent", 0, "act_s", 60.0)), "adult", MOVES, stop_at_first=True)
    assert "silence to the first breath prompt (other)" in found.findings.failed


def test_open_variants_have_the_numbers_of_their_age():
    assert [open_variant(age).numbers["suction_s"] for age in ("infant", "child", "adult")] == [5, 5, 10]
