"""The flows for one trouble each: what each says and where it leads, how a word switches, and what the joined file is."""

import re
from functools import lru_cache
from pathlib import Path

import pytest
from driver import Drive, canonical
from test_texts import grade
from variants import drawn, like, variant

from prompter.care.reading import read_yaml
from prompter.errors import CannotDo
from prompter.events import from_record
from prompter.flow.document import Flow
from prompter.flow.family import documents_of, family_files, family_text, versions_in
from prompter.flow.machine import FlowMachine
from prompter.flow.reading import _FLOW, load_flow, parse_flow
from prompter.flow.table import Table, Variant, build
from prompter.replay import replay
from prompter.resources import flow_file

BASE = "breathing-trouble"
SIDES = {"tube-bleeding": "blood", "ventilator-alarm": "alarm", "vomit-or-food": "food", "low-saturation": "saturation"}
FLOWS = {name: load_flow(flow_file(name)) for name in (BASE, *SIDES)}
ALONE, HELPED = like(without=("helper",), call_after_s=30), like()
VENT = like("ventilated", without=("helper",), call_after_s=30)
CAPPED = like("on tube", without=("helper",), call_after_s=30)


def table_of(name: str, plan: Variant) -> Table:
    """Built once for each plan; the tests change no table."""
    return _built(name, plan.facts, tuple(plan.words.items()), tuple(plan.numbers.items()))


@lru_cache(maxsize=16)
def _built(name: str, facts: frozenset[str], words: tuple[tuple[str, str], ...], numbers: tuple[tuple[str, float], ...]) -> Table:
    return build(FLOWS[name], Variant(facts, dict(words), dict(numbers)))


def reach(name: str, plan: Variant, *answers: str) -> Drive:
    return Drive(table_of(name, plan)).start().says(*answers).settle()


# ---- what each says, and where it leads. Sources: the head of each file; the order of the prompts: common practice ----

PATHS = [
    # flow, plan, answers, prompts of care in this order, step at the end
    ("tube-bleeding", CAPPED, ("bleeding",), ["Only streaks, or more?", "Take off the cap or valve."], "blood-open"),
    ("tube-bleeding", CAPPED, ("bleeding", "done"), ["Keep this tube.", "Suction the blood.", "Out now."], "passed"),
    ("tube-bleeding", like("bleeding cuff", "cuffed", without=("helper",)), ("bleeding",), ["Keep this tube.", "Cuff, add air: 2 millilitres.", "Suction the blood."], "passed"),
    ("tube-bleeding", ALONE, ("streaks", "streaks"), ["Next pass gentle. Depth: 6 and a half centimetres.", "Is the chest moving by itself?"], "look"),
    ("tube-bleeding", ALONE, ("bleeding", "won't pass"), ["Suction the blood.", "New tube in your hand, guide inside."], "in-hand"),
    ("ventilator-alarm", VENT, ("rising", "better"), ["Look at Juno first.", "Is the chest going up?", "Lips: better, or still bad?", "Push the hose on tight."], "alarm-hose"),
    ("ventilator-alarm", VENT, ("rising", "better", "done", "done", "done", "alarm on"), ["No kink and no water in the hose.", "Plug the vent into the wall.", "Alarm: quiet, or still on?", "Take the vent off the tube.", "Bag on."], "vent-off"),
    ("ventilator-alarm", VENT, ("flat",), ["Take the vent off the tube.", "Bag on.", "Two gentle squeezes."], "vent-off"),
    ("ventilator-alarm", VENT, ("rising", "not better"), ["Take the vent off the tube.", "Bag on."], "vent-off"),
    ("ventilator-alarm", VENT, ("rising", "better", "alarm quiet", "better", "better", "number"), ["Lips: better, or still bad?", "Stay close."], "watch"),
    ("vomit-or-food", CAPPED, (), ["Turn the head.", "Stop any feed.", "Take off the cap or valve."], "valve-off"),
    ("vomit-or-food", ALONE, (), ["Turn the head.", "Stop any feed.", "Suction now. Depth: 6 and a half centimetres.", "Out now."], "passed"),
    ("vomit-or-food", VENT, (), ["Turn the head.", "Suction first.", "Out now.", "Take the vent off the tube.", "Bag on."], "vent-off"),
    ("low-saturation", ALONE, ("moving",), ["Is the chest moving by itself?", "Oxygen on, highest flow.", "Straighten the neck."], "saturation-oxygen"),
    ("low-saturation", ALONE, ("moving", "done", "done"), ["Put the sensor on again.", "Oxygen number?"], "saturation-number"),
    ("low-saturation", ALONE, ("not better",), ["Suction now. Depth: 6 and a half centimetres."], "passed"),
    ("low-saturation", like("on tube", without=("helper", "oximeter")), ("moving", "done"), ["Take off the cap or valve."], "valve-off"),
    ("low-saturation", VENT, ("moving", "done", "not better"), ["Take the vent off the tube.", "Bag on."], "vent-off"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "plan", "answers", "prompts", "step"), PATHS, ids=lambda v: v if isinstance(v, str) else "")
def test_what_is_said_in_order_and_where_it_leads(name, plan, answers, prompts, step):
    drive = Drive(table_of(name, plan)).start()
    for answer in answers:
        drive.says(answer) if answer != "number" else drive.settle().wait(0.4).number(97)
    drive.settle()
    said = [h.text for h in drive.heard if h.role in ("care", "question")]
    for text in prompts:
        assert text in said, f"{text!r} is not said (or not in its place): {said}"
        said = said[said.index(text) + 1 :]
    assert drive.step == step


def test_a_sensor_put_on_again_that_reads_fine_leads_to_the_lips_and_a_low_number_to_suction():
    drive = reach("low-saturation", ALONE, "moving", "done", "done")
    drive.wait(0.4).number(97)
    assert drive.settle().step == "lips"
    drive = reach("low-saturation", ALONE, "moving", "done", "done")
    drive.wait(0.4).number(84)
    assert drive.settle().step == "passed" and drive.machine.memory.known["breathing"] == "trouble"


def test_a_number_that_stays_low_is_never_watched():
    """Whoever looks better: the number under the floor is read again, and then it is breathing trouble (CLINICAL section 4)."""
    drive = reach("low-saturation", ALONE, "moving", "done", "done")
    drive.wait(0.4).number(84)
    drive.says("passed", "moving", "better", "better").settle()
    assert drive.step == "number-back"
    drive.wait(0.4).number(85)
    assert drive.settle().step == "bag"


def test_blood_is_asked_about_until_it_is_streaks_said_twice():
    drive = reach("tube-bleeding", ALONE, "bleeding", "passed", "moving", "better", "better")
    drive.wait(0.4).number(97)
    drive.silent_until("blood-watch").settle()
    assert drive.machine.outcome == "better" and drive.call == "asked"
    drive.says("streaks").settle()
    assert drive.step == "blood-watch", "good news must be said twice"
    drive.says("streaks", "streaks").settle()
    assert drive.step == "watch"
    drive.says("bleeding").settle()
    assert drive.step in ("bleed", "passed")
    drive.says("passed", "moving", "better", "better").wait(0.4).number(97)
    drive.silent_until("blood-watch"), "a new bleed is asked about again"


def test_an_alarm_that_is_quiet_is_no_end_while_the_lips_are_bad():
    drive = reach("ventilator-alarm", VENT, "rising", "better", "alarm quiet")
    assert drive.step == "alarm-lips"
    drive.says("not better").settle()
    assert drive.step == "vent-off"


def test_off_the_ventilator_it_is_asked_which_of_the_two_and_on_it_not():
    on = reach("ventilator-alarm", VENT, "rising", "better", "alarm quiet", "better", "better")
    on.wait(0.4).number(97)
    assert on.settle().step == "watch"
    off = reach("ventilator-alarm", VENT, "flat", "rising", "better", "better")
    off.wait(0.4).number(97)
    off.settle()
    assert off.step == "bag-or-vent"


# ---- silence, and the call ---------------------------------------------------------------------------

FIRST_BREATH_S = {"ventilated": 20, "something to take off": 60, "other": 45}
"""CLINICAL section 10, whichever flow begins."""


@pytest.mark.parametrize("name", SIDES)
def test_nobody_answers_breaths_and_the_call_come_within_the_limits_and_no_tube_comes_out(name):
    for plan in (*drawn(31, 12), VENT, CAPPED, HELPED, ALONE):
        drive = Drive(table_of(name, plan)).start().wait(130)
        kind = "ventilated" if "ventilated" in plan.facts else "something to take off" if plan.facts & {"on tube", "inner tube"} else "other"
        assert drive.breath_prompts()[0] <= FIRST_BREATH_S[kind] * 1000, (kind, drive.steps())
        due_s = 0 if "ventilated" in plan.facts else plan.numbers["call_after_s"]
        assert drive.call_prompts()[0] <= (due_s + 5.5) * 1000
        assert drive.machine.memory.known["tube"] != "out" and drive.machine.memory.reason is None


def test_a_bleed_nobody_answers_about_is_taken_for_a_large_one_and_calls_at_once():
    drive = reach("tube-bleeding", ALONE)
    asked = drive.asked()
    drive.silent_until("bleed")
    assert drive.moves()[-1][0] - asked.ends_ms == 8000 and drive.call == "asked"
    assert drive.moves("call")[0][0] - asked.ends_ms == 8000, "not only when its time is due"


@pytest.mark.parametrize("name", SIDES)
@pytest.mark.parametrize(("answer", "step"), [("came out", "put-back"), ("not breathing", "no-breaths"), ("halfway", "halfway"), ("bleeding", "bleed"), ("limp", "push-breaths")])
def test_bad_news_leads_into_the_care_of_breathing_trouble_from_every_first_step(name, answer, step):
    drive = Drive(table_of(name, ALONE)).start()
    drive.blurts(answer)
    assert drive.step == step


def test_suction_that_fails_over_vomit_is_not_asked_for_again_on_the_way_back():
    """A visit returns to where it was, but round a step that does not fit any more."""
    drive = reach("breathing-trouble", ALONE, "in place")
    assert drive.step in ("suction", "passed")
    drive = Drive(table_of(BASE, ALONE)).start().says("in place").silent_until("suction")
    drive.blurts("vomit")
    drive.blurts("no suction")
    asked = drive.emitted("Suction now. Depth: 6 and a half centimetres.")
    drive.settle()
    assert drive.step == "look" and "Wipe it away." in drive.texts()
    assert drive.emitted("Suction now. Depth: 6 and a half centimetres.") == asked


@pytest.mark.parametrize("answers", [("bleeding",), ("in place", "vomit")])
def test_no_suction_leads_on_where_blood_or_vomit_is_suctioned(answers):
    drive = Drive(table_of(BASE, ALONE)).start()
    for answer in (*answers, "no suction"):
        drive.blurts(answer)
    drive.settle()
    assert drive.step == "look"


# ---- switching ---------------------------------------------------------------------------------------

SWITCHES = [("some blood", "blood", ALONE), ("vent alarm", "alarm", VENT), ("vomit", "food", VENT), ("low saturation", "saturation", ALONE)]


@pytest.mark.parametrize(("answer", "step", "plan"), SWITCHES)
def test_a_word_switches_at_the_first_question_at_once(answer, step, plan):
    drive = Drive(table_of(BASE, plan)).start().wait(1)
    drive.blurts(answer)
    assert (drive.now, drive.moves()[-1]) == (1000, (1000, "tube-check", step))


@pytest.mark.parametrize(("answer", "step", "plan"), SWITCHES)
def test_so_does_a_key(answer, step, plan):
    view = Drive(table_of(BASE, plan)).start().machine.view()
    keys = {a: key for key, a, _ in (*view.own_keys, *view.everywhere_keys)}
    assert keys[answer]


def test_a_low_number_said_at_the_first_question_switches_and_a_fine_one_does_not():
    for value, step in ((84, "saturation"), (97, "tube-check")):
        drive = Drive(table_of(BASE, ALONE)).start().wait(1)
        drive.number(value)
        assert drive.step == step


def test_without_a_ventilator_its_alarm_means_nothing():
    drive = Drive(table_of(BASE, ALONE)).start().wait(1)
    drive.blurts("vent alarm")
    assert drive.step == "tube-check"


def test_that_was_wrong_takes_a_switch_back():
    drive = Drive(table_of(BASE, VENT)).start().wait(1)
    drive.blurts("vomit")
    drive.blurts("wrong")
    assert drive.step == "tube-check"


# ---- one document ------------------------------------------------------------------------------------


def test_all_flows_of_a_family_are_the_same_but_for_where_they_begin():
    def body(flow: Flow) -> dict:
        return flow.model_dump(exclude={"flow", "version", "title", "start"})

    assert all(body(flow) == body(FLOWS[BASE]) for flow in FLOWS.values())
    assert {name: flow.start for name, flow in FLOWS.items()} == {BASE: "tube-check", **SIDES}
    assert all(FLOWS[name].covered_steps == [*read_yaml(flow_file(name), _FLOW).data["steps"]] for name in SIDES)
    assert set(FLOWS[BASE].covered_steps) == set(FLOWS[BASE].steps) and FLOWS[BASE].starts == ["tube-check", *SIDES.values()]


def test_each_flow_is_short():
    """Fifteen steps of its own at most; what it goes on in is not counted."""
    assert all(4 <= len(FLOWS[name].covered_steps) <= 15 for name in SIDES)


@pytest.mark.parametrize("name", FLOWS)
def test_the_text_for_a_journal_needs_no_other_file(name):
    text = family_text(flow_file(name))
    assert parse_flow(text, "a journal") == FLOWS[name]
    assert versions_in(text) == {each: 1 for each in (name, *(n for n in FLOWS if n != name))} and next(iter(versions_in(text))) == name


def test_a_switch_replays_byte_for_byte_from_the_text_alone():
    """The events of an emergency that switched, on a machine made of the embedded text."""
    drive = Drive(table_of(BASE, VENT)).start().wait(1)
    drive.blurts("vomit")
    drive.wait(40).blurts("flat")
    drive.wait(20)
    machine, again = FlowMachine(build(parse_flow(family_text(flow_file(BASE)), "j"), VENT)), []
    for event in drive.events:
        again += machine.feed(from_record(event.to_record()))
    assert canonical(again) == canonical(drive.cues) and drive.steps().count("food") == 1


def test_a_text_without_its_side_flows_is_refused():
    text = flow_file(BASE).read_text("utf-8")
    with pytest.raises(CannotDo) as refused:
        parse_flow(text, "a journal")
    assert "the flow `tube-bleeding` is missing" in refused.value.one_line()
    events = [{"seq": 1, "kind": "opened", "flow_text": text, "variant": {"facts": [], "words": {}, "numbers": {}}}]
    with pytest.raises(CannotDo):
        replay(events, "a journal")


def test_a_flow_of_before_side_flows_there_were_is_whole_by_itself():
    text = re.sub(r"^switches_to:.*\n", "", flow_file(BASE).read_text("utf-8"), flags=re.MULTILINE)
    assert documents_of(text) == [text] and documents_of(f"---\n{text}") == [f"---\n{text}"]
    with pytest.raises(CannotDo) as refused:
        parse_flow(text, "x")
    assert "no step or way is called" in refused.value.one_line(), "it names steps of the others, and nothing else is wrong"


@pytest.fixture
def own(tmp_path: Path):
    """A family of one's own: every file beside the others, with one change."""

    def make(name: str, old: str, new: str) -> Path:
        for file in family_files(flow_file(BASE)):
            text = file.read_text("utf-8")
            if file.stem == name:
                assert old in text
                text = text.replace(old, new, 1)
            (tmp_path / file.name).write_text(text, encoding="utf-8")
        return tmp_path / f"{BASE}.yaml"

    return make


FAULTS = [
    ("vomit-or-food", "    after: after-turn\n", "    after: after-trn\n", "vomit-or-food.yaml", "no step or way is called `after-trn`"),
    ("low-saturation", "  saturation-oxygen:\n", "  valve-off:\n", "low-saturation.yaml", "`valve-off` stands in `breathing-trouble` too"),
    ("tube-bleeding", "goes_on_in: breathing-trouble", "goes_on_in: breathing-trouble\nrules: {}", "tube-bleeding.yaml", "`rules` is not a word"),
    ("breathing-trouble", "ventilator-alarm, vomit", "ventilator-alarms, vomit", "ventilator-alarms.yaml", "there is no such file"),
    ("ventilator-alarm", "  alarm quiet: { risk", "  better: { risk", "ventilator-alarm.yaml", "`better` stands in `breathing-trouble` too"),
]


@pytest.mark.parametrize(("name", "old", "new", "where", "what"), FAULTS, ids=[f[4] for f in FAULTS])
def test_a_fault_in_a_side_flow_is_refused_with_its_own_file_and_line(own, name, old, new, where, what):
    with pytest.raises(CannotDo) as refused:
        load_flow(own(name, old, new))
    line = refused.value.one_line().splitlines()[0]
    assert what in line and where in line and ("no such file" in what or re.search(r"\.yaml:\d+:", line))


def test_files_beside_it_come_before_the_programs(own):
    file = own("vomit-or-food", '"Turn the head."', '"Turn the head to one side."')
    assert load_flow(file).steps["food"].say[1].say == "Turn the head to one side."
    alone = file.parent / "mine" / "breathing-trouble.yaml"
    alone.parent.mkdir()
    alone.write_bytes(flow_file(BASE).read_bytes())
    assert load_flow(alone) == FLOWS[BASE], "without its side flows beside it, the program's"


# ---- texts -------------------------------------------------------------------------------------------


def test_prompts_are_short_and_nobody_neck_only_hears_of_mouth_nose_or_face():
    neck_only = variant(frozenset({"child", "neck only", "helper", "oxygen", "oximeter", "compressions trained"}))
    for name in SIDES:
        for plan in (neck_only, VENT, like("on tube", "inner tube", "bleeding cuff", "cuffed")):
            table = table_of(name, plan)
            own = [s.text for n in FLOWS[name].covered_steps if n in table.stands for s in (*table.stands[n].say, *table.stands[n].ask)]
            assert (own or name == "ventilator-alarm") and all(len(text.split()) <= 12 for text in own)
            if plan is neck_only:
                assert not re.search(r"mouth|nose|chin|face|cover|head back|tube", " ".join(own).lower().replace("keep this tube", ""))


@pytest.mark.parametrize("name", SIDES)
def test_the_text_of_each_flow_reads_at_grade_six_or_below(name):
    """Kincaid et al. 1975, as for the whole (test_texts.py)."""
    own = FLOWS[name].covered_steps
    for plan in (VENT, like("ventilated", "on tube", "bleeding cuff", "cuffed")):
        table = table_of(name, plan)
        stands = [table.stands[n] for n in own if n in table.stands]
        said = [s.text for stand in stands for s in (*stand.say, *stand.then_say, *stand.ask)] + [stand.how for stand in stands if stand.how]
        assert grade(" ".join(t if t[-1] in ".?!" else f"{t}." for t in said)) <= 6, said


def test_each_file_says_that_it_is_not_approved_and_names_its_sources():
    for name in SIDES:
        head = flow_file(name).read_text("utf-8").split("\nflow:")[0]
        assert "NOT APPROVED FOR USE" in head and "Sources:" in head and "common practice, no source" in head.replace("\n# ", " ")
        assert "local practice" in head
