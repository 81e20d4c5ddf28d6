"""After the emergency was closed in words: a short talk in calm, which trouble may end at any moment. Common practice, no source."""

import pytest
from driver import Drive, reach, the_flow
from variants import like

from prompter.events import Learned, Tone

AFTERWARDS = ("debrief", "debrief-bag", "debrief-phone", "debrief-end")
TALKED_OVER = {"debrief": (), "debrief-bag": ("still fine",), "debrief-phone": ("still fine", "done")}
"""The questions, with the answers that lead to each."""


def closed(*more: str, before: tuple[str, ...] = ("in place", "passed", "better", "better"), **kinds) -> Drive:
    """Better, watched, and closed in two different phrases."""
    drive = reach(like(*more, without=("oximeter",), **kinds), *before)
    drive.settle(40).says("finished", "finished", "close it")
    assert drive.step == "debrief", drive.step
    return drive


def test_only_a_closing_in_words_leads_there():
    flow = the_flow()
    leads = [(name, answer) for name, step in flow.steps.items() for answer, arms in step.answers.items()
             if name not in AFTERWARDS and any(arm.go in AFTERWARDS for arm in arms)]  # fmt: skip
    assert leads == [("closing", "close it")]
    silently = [name for name, step in flow.steps.items() if name not in AFTERWARDS
                and (step.after in AFTERWARDS or step.otherwise in AFTERWARDS or any(s.go in AFTERWARDS for s in step.silent))]  # fmt: skip
    everywhere = [a for a, arms in flow.everywhere.items() if any(arm.go in AFTERWARDS for arm in arms)]
    assert silently == [] and everywhere == []
    assert not [way for way, lines in flow.ways.items() if any(line.go in AFTERWARDS for line in lines)]


def test_it_is_talked_over_in_less_than_a_minute():
    drive = closed()
    began = drive.now
    drive.says("still fine", "done", "done").wait(10)
    assert drive.machine.closed and drive.steps()[-5:] == ["debrief", "debrief-bag", "debrief-phone", "debrief-end", "closed"]
    said = drive.texts(began)
    assert [t for t in said if "I heard" not in t] == [
        "How is Juno now?", "Fill the emergency bag again.", "Count the catheters.", "What else was used? Say it now.",
        "Phone Doctor Imre Vale.", "The account is kept.", "Rest now.", "Talk with somebody.",
    ]  # fmt: skip
    assert drive.now - began < 60_000


def test_it_ends_by_itself_in_silence():
    drive = closed()
    assert drive.silent_path(90) == ["debrief", "debrief-bag", "debrief-phone", "debrief-end", "closed"]
    assert drive.machine.closed and drive.machine.outcome == "better"


@pytest.mark.parametrize("step", TALKED_OVER)
def test_it_may_be_left_out(step):
    drive = closed()
    drive.to(step, *TALKED_OVER[step]) if TALKED_OVER[step] else drive.settle()
    drive.says("close it").wait(10)
    assert drive.machine.closed


@pytest.mark.parametrize("step", TALKED_OVER)
@pytest.mark.parametrize(
    ("answer", "target"),
    [("not breathing", "no-breaths"), ("flat", "no-breaths"), ("limp", "push-breaths"), ("came out", "put-back"), ("halfway", "halfway"),
     ("worse", "suction"), ("not better", "suction"), ("bleeding", "bleed"), ("neck swelling", "wrong-place"),
     ("vomit", "vomit-turn"), ("low saturation", "number-back"), ("mucus", "suction-visit")],
)  # fmt: skip
def test_trouble_ends_it_and_the_call_is_asked_for_anew(step, answer, target):
    drive = closed(call_after_s=5)
    drive.to(step, *TALKED_OVER[step]) if TALKED_OVER[step] else drive.settle()
    drive.blurts(answer)
    assert drive.step == target
    if target in ("vomit-turn", "suction-visit"):  # these come back to where they were
        return
    began = drive.now
    assert drive.machine.outcome == "open" and not drive.machine.closed
    drive.wait(12)
    assert any(at >= began for at in drive.call_prompts()), "the call is not asked for"


def test_a_number_under_the_floor_ends_it():
    drive = closed()
    drive.settle().number(80)
    assert drive.step == "number-back"


def test_a_ventilator_alarm_ends_it():
    drive = closed("ventilated", before=("in place", "rising", "better", "better", "stay on bag"))
    drive.settle().blurts("vent alarm")
    assert drive.step == "alarm" and drive.call == "asked"


def test_nobody_is_reminded_of_the_call_in_calm_and_taking_it_back_brings_the_reminder_back():
    drive = closed(call_after_s=1)
    began = drive.now
    assert drive.call == "not yet" and drive.machine.call.due_at is None
    drive.wait(24)
    assert not [at for at in drive.call_prompts() if at >= began]
    again = closed(call_after_s=1)
    again.settle().blurts("wrong")
    assert again.step == "closing" and again.call == "asked" and again.machine.call.due_at is not None


def test_what_was_used_up_is_asked_for_by_what_is_known():
    through = ("in place", "won't pass", "tube ready", "done", "done", "tube in", "done", "passed", "rising", "better", "better")
    drive = closed(before=through)
    began = drive.now
    drive.says("still fine").settle()
    assert "A new spare tube." in drive.texts(began) and "More saline." not in drive.texts(began)
    drive = closed(before=("in place", "passed", "not better", "rising", "done", "rising", "passed", "rising", "better", "better"))
    began = drive.now
    drive.says("still fine").settle()
    assert "More saline." in drive.texts(began) and "A new spare tube." not in drive.texts(began)


def test_what_else_was_used_is_said_freely_kept_and_waited_for():
    drive = closed()
    drive.says("still fine").settle()
    drive.wait(15)
    cues = drive.mumbles()
    assert [c.name for c in cues if isinstance(c, Tone)] == ["noted"], "asked again"
    drive.wait(8)
    assert drive.step == "debrief-bag", "who was speaking was cut short"
    for _ in range(40):  # a radio
        drive.wait(4)
        if drive.step == "debrief-bag":
            drive.mumbles()
    assert drive.machine.closed, "a radio keeps it open"


def test_a_doubtful_bad_word_is_no_note():
    drive = closed()
    drive.says("still fine").settle()
    drive.mumbles("worse")
    assert drive.asked().text == "Worse? Once more." or drive.emitted("Worse? Once more.")
    drive.wait(2).mumbles("worse")
    assert drive.step == "suction"


def test_the_clinician_was_phoned_is_learned():
    drive = closed()
    drive.says("still fine", "done", "done")
    assert [c for c in drive.cues if isinstance(c, Learned) and c.what == "clinician phoned"]


def test_the_call_had_ended_with_the_crew_and_is_asked_for_anew():
    drive = reach(like(call_after_s=1), "in place")
    for answer in ("paramedics", "taken over", "taken over"):
        drive.blurts(answer)
        drive.wait(2)
    assert drive.call == "ended"
    drive.settle(90).says("finished", "close it").settle()
    began = drive.now
    drive.blurts("not breathing")
    drive.wait(6)
    assert drive.call == "asked" and [at for at in drive.call_prompts() if at >= began]
