"""Faults that the walk of all states found, each with the shortest way to it."""

import pytest
from driver import Drive, table_for
from variants import like

from prompter.flow.memory import KNOWN

ALONE = like(without=("helper",))


def blurted(variant, *answers: str) -> Drive:
    """All at once, over whatever is being said."""
    drive = Drive(table_for(variant)).start()
    for answer in answers:
        drive.blurts(answer)
    return drive


def test_an_answer_kept_for_the_return_may_lead_nowhere():
    """'Passed' means something at the tube check only without a tube: coming back with it must not stop the machine."""
    drive = blurted(ALONE, "mucus", "passed", "mucus", "passed")
    assert drive.step == "tube-check"


def test_that_was_wrong_takes_back_what_was_said_last():
    drive = blurted(ALONE, "mucus", "in place", "vomit")
    assert drive.step == "vomit-turn"
    drive.blurts("wrong")
    assert drive.step == "suction-visit" and drive.machine.memory.kept


def test_good_news_not_confirmed_brings_no_question_before_its_time():
    drive = blurted(ALONE, "limp", "moving").wait(100)
    beat = next(b for b in drive.beats if b.pace.what == "pushes")
    asked = [h.at_ms for h in drive.heard if h.role == "question" and "Once more" not in h.text and h.at_ms > beat.at_ms]
    assert not asked, "pushes are asked about after two minutes"


def test_taken_back_what_came_after_the_crew_the_call_is_over_again():
    drive = blurted(ALONE, "paramedics", "taken over", "taken over", "worse", "wrong")
    assert drive.step == "handed-over" and drive.call == "ended"


def test_a_missing_spare_brings_no_fourth_tube():
    drive = blurted(like("neck only", without=("helper",)), "came out", "not breathing", "no spare", "stuck", "not breathing", "no spare")
    assert drive.machine.memory.counts["tries"] <= 3


@pytest.mark.parametrize("said", ["not breathing", "flat"])
def test_no_breaths_while_watching_is_never_watched_on(said):
    """A guide counts as out once somebody breathes well through the new tube."""
    drive = blurted(like(without=("compressions trained", "oximeter", "helper")), "came out", "not breathing", "tube in", "limp", "moving", "moving", "better", "better")
    drive.settle()
    assert drive.step == "watch"
    drive.blurts(said)
    assert drive.step == "no-breaths" and drive.machine.memory.known["breathing"] == KNOWN["breathing"][2]


def test_no_breaths_with_the_guide_perhaps_in_finishes_the_insertion():
    drive = blurted(like(without=("compressions trained", "helper")), "came out", "not breathing", "tube in", "limp", "moving", "moving", "not better", "not breathing")
    assert drive.step == "guide-out"


def test_after_pushes_the_route_that_worked_goes_on():
    drive = blurted(like(without=("change allowed", "helper")), "neck swelling", "not breathing")
    assert "on route" in drive.machine.memory.marks
    drive.blurts("limp")
    drive.silent_until("pushes")
    for answer in ("moving", "moving", "not better"):
        drive.blurts(answer)
    assert drive.step == "neck-mask"
