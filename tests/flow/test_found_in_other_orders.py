"""Faults that were found by walking all states in drawn orders (`tests/bench/bench_orders.py`), each with the shortest way to it."""

import pytest
from driver import blurted, reach
from variants import like
from ways import OUT_LATEST_MS

from prompter.events import SpeechStarted

ALONE = like(without=("helper",))


@pytest.mark.parametrize(("said", "first"), [("neck swelling", "wrong-place"), ("halfway", "halfway")])
@pytest.mark.parametrize("answer", ["done", None])
def test_pushes_that_a_tube_in_the_wrong_place_interrupts_are_taken_up_again(said, first, answer):
    """Found by walking in other orders: they never came back, and "limp, nothing" and "no breaths" did nothing any more."""
    drive = reach(ALONE, "in place", "passed", "rising", "not better")
    drive.blurts("limp")
    drive.silent_until("pushes").wait(30).blurts(said)
    assert drive.step == first
    since = drive.now
    if answer:
        drive.wait(6).blurts(answer)
        assert drive.step == "push-mask" and drive.machine.memory.known["tube"] == "out"
    drive.silent_until("pushes")
    assert drive.now < since + 45_000
    drive.wait(10)
    assert drive.beats[-1].pace.what == "pushes" and drive.beats[-1].at_ms > since


@pytest.mark.parametrize("doubt", [("won't pass", "hold-tube"), ("neck swelling", "wrong-place")], ids=["catheter blocked", "swollen neck"])
def test_a_question_left_over_from_before_a_change_does_not_come_in_its_middle(doubt):
    """Found by walking in other orders: asked after vomit, "chest rises" took the reason away and the tube came out all the same."""
    said, first = doubt
    drive = reach(ALONE, "in place", "passed", "rising", "not better").silent_until("saline").wait(3)
    drive.machine.memory.known["tube"] = "unknown"
    drive.blurts("mucus")
    assert drive.wait(0.1).step == "breaths-first"
    drive.silent_until("suction-visit").blurts(said)
    assert drive.step == first
    drive.wait(1).blurts("vomit")
    since = drive.now
    drive.silent_until("vomit-out").silent_until(first)
    drive.wait(2)
    assert drive.said("Is the chest going up?", since) is None
    assert drive.machine.memory.reason is not None


def test_a_question_left_over_does_not_come_once_the_tube_is_out():
    drive = reach(ALONE, "in place", "passed", "rising", "not better").silent_until("saline").wait(3)
    drive.machine.memory.known["tube"] = "unknown"
    drive.blurts("mucus")
    assert drive.wait(0.1).step == "breaths-first"
    for answer in ("came out", "not breathing", "vomit"):
        drive.blurts(answer)
    since = drive.now
    drive.silent_until("vomit-out").silent_until("tube-in")
    assert drive.said("Is the chest going up?", since) is None


def test_a_cuff_that_a_change_given_up_has_left_empty_is_filled_once():
    """Found by walking in other orders: it was said again each time the squeezing was taken up; twice as much is too much."""
    drive = reach(like("cuffed", without=("helper",)), "in place", "passed", "rising", "not better").silent_until("last-bag")
    drive.blurts("rising")
    drive.blurts("not better")
    drive.silent_until("keep-bagging").wait(5).blurts("mucus")
    drive.silent_until("suction-visit").blurts("won't pass")
    drive.silent_until("in-hand").blurts("done")
    drive.wait(5).blurts("limp")
    drive.silent_until("pushes").wait(1)
    since = drive.now
    for answer in ("moving", "moving", "not better"):
        drive.blurts(answer)
    assert drive.step == "keep-bagging"
    drive.wait(5)
    filled = [heard for heard in drive.heard if heard.text.startswith("Fill the cuff")]
    assert [heard.at_ms >= since for heard in filled] == [True]
    drive.blurts("moving")
    drive.blurts("not better")
    assert drive.step == "keep-bagging"
    drive.wait(5)
    assert [heard for heard in drive.heard if heard.text.startswith("Fill the cuff")] == filled


@pytest.mark.parametrize(("said", "first"), [("halfway", "halfway"), ("neck swelling", "wrong-place")])
def test_a_tube_taken_out_of_who_breathed_well_has_its_breaths_in_time(said, first):
    """Found by walking in other orders: "breathing well" from before went on counting, and breaths were not due before "no breaths"."""
    drive = blurted(like("compressions trained", without=("helper", "oximeter")), "in place", "passed", "better", "better")
    assert drive.machine.memory.known["breathing"] == "better"
    drive.blurts(said)
    assert drive.step == first and drive.machine.memory.known["breathing"] == "unknown"
    drive.blurts("done")
    out_ms = drive.now
    drive.wait(5).blurts("stuck")
    drive.wait(5).blurts("vomit")
    drive.silent_until("vomit-out").blurts("not breathing")
    drive.wait(40)
    breaths = [beat.at_ms for beat in drive.beats if beat.pace.what == "breaths" and beat.at_ms >= out_ms]
    assert breaths and breaths[0] <= out_ms + OUT_LATEST_MS


def test_breathing_well_is_said_of_the_tube_it_was_said_of():
    """Found by walking in other orders: after a change that began while all was well, no breaths were due for 47 s."""
    drive = blurted(like(without=("helper", "oximeter", "cuffed")), "in place", "passed", "better", "better")
    assert drive.machine.memory.known["breathing"] == "better"
    drive.blurts("mucus")
    drive.silent_until("suction-visit").blurts("won't pass")
    drive.silent_until("tube-out").blurts("done")
    assert drive.machine.memory.known["tube"] == "out" and drive.machine.memory.known["breathing"] == "unknown"


def test_breathing_well_is_not_carried_over_a_new_tube_that_must_come_out_again():
    drive = blurted(like(without=("compressions trained", "oximeter", "helper")), "came out", "not breathing", "tube in", "limp", "moving", "moving", "better", "better", "bleeding", "won't pass")
    assert drive.step == "wrong-place" and drive.machine.memory.known["breathing"] == "better"
    drive.blurts("done")
    assert drive.machine.memory.known["breathing"] == "unknown"


def test_an_inner_tube_asked_to_be_back_is_asked_again_where_it_was_taken_out_again():
    """'Bag on.' came without it: some bags hold to the inner tube alone."""
    drive = reach(like("ventilated", "inner tube", "inner needed for bag", without=("helper",)), "in place").silent_until("inner-out", 90)
    drive.machine._last_breath = drive.now - 21_000
    drive.silent_until("gap-breaths", 5)
    drive.blurts("mucus")
    drive.blurts("passed")
    assert drive.step == "inner-out"
    before_ms = drive.now + 1  # what was cut counts for nothing
    drive.silent_until("gap-breaths", 90).wait(6)
    assert drive.said("Clean inner tube in.", before_ms) < drive.said("Bag on.", before_ms)


def test_breaths_before_a_pass_that_is_left_out_are_asked_about_before_two_more():
    """No suction, said meanwhile: four breaths went through a tube that nothing had shown to be open."""
    drive = reach(ALONE, "in place", "passed", "rising", "not better").silent_until("bag-again", 60)
    drive.machine._last_breath = drive.now - 20_000  # a pass would take too long
    drive.blurts("flat")
    drive.silent_until("breaths-first", 1)
    drive.blurts("no suction")
    drive.silent_until("gap-ask", 30)
    assert drive.settle().asked().text == "Is the chest going up?"
    drive.silent_until("last-bag", 30)


def test_an_inner_tube_that_is_out_again_is_back_before_breaths_that_come_first():
    """Found by walking in other orders: taken out once more after two breaths had interrupted that, it counted as back."""
    drive = reach(like("ventilated", "inner tube", "inner needed for bag", without=("helper",)), "in place").silent_until("inner-out", 90)
    drive.machine._last_breath = drive.now - 21_000
    drive.silent_until("gap-ask", 30).blurts("rising")
    assert drive.step == "inner-out"
    before_ms = drive.now + 1
    drive.machine._last_breath = drive.now - 5_000  # the pass that comes next would take too long
    drive.silent_until("breaths-first", 60).wait(6)
    assert drive.said("Clean inner tube in.", before_ms) < drive.said("Bag on.", before_ms)


def test_breaths_interrupted_before_the_first_of_them_are_due_from_then_on():
    """Found by walking in other orders: bleeding, said while the first breaths were asked for, put them off for over a minute."""
    drive = reach(ALONE, "in place", "passed")
    drive.blurts("not better")
    assert drive.step == "bag" and "breaths" not in {beat.pace.what for beat in drive.beats}
    drive.blurts("bleeding")
    cut_ms = drive.now
    drive.silent_until("look", 60).settle().blurts("better")  # asked back: silence waits for the second time
    drive.wait(30)
    breaths = [beat.at_ms for beat in drive.beats if beat.pace.what == "breaths"]
    assert breaths and breaths[0] <= cut_ms + 31_500


def test_pushes_do_not_wait_for_a_tube_part_way_out_while_somebody_speaks():
    """Found by walking in other orders: breaths came the other way, then the tube was asked for again; 48 s without a push."""
    drive = blurted(like("compressions trained", without=("helper",)), "limp").silent_until("pushes", 60)
    drive.wait(30).blurts("halfway")
    assert drive.step == "halfway"
    stopped_ms = drive.now
    for _ in range(12):
        drive.wait(4).feed(SpeechStarted(drive.now))
        if drive.now < stopped_ms + 24_000:
            drive.blurts("say the address")
    pushes = [beat.at_ms for beat in drive.beats if beat.pace.what == "pushes" and beat.at_ms > stopped_ms]
    assert pushes and pushes[0] <= stopped_ms + 45_000


def test_when_it_gets_worse_again_breaths_are_due_from_then_on():
    """Good news that was not said a second time put the first breaths of the new trouble off, beyond half a minute."""
    drive = blurted(like(without=("helper", "oximeter")), "in place", "passed", "better", "better", "no suction", "worse")
    assert drive.step == "look" and drive.machine.memory.known["breathing"] == "trouble"
    worse_ms = drive.now
    for _ in range(3):
        drive.settle().blurts("better")
        drive.wait(13)  # too late for the second time
    breaths = [beat.at_ms for beat in drive.beats if beat.pace.what == "breaths" and beat.at_ms > worse_ms]
    assert breaths and breaths[0] <= worse_ms + 31_500


def test_good_news_said_during_a_visit_and_not_said_again_is_followed_by_silence_that_counts():
    """Found by walking in other orders: "only streaks", said while vomit was cleared away, was asked back, and then nothing was said any more."""
    drive = blurted(like(without=("oximeter",)), "bleeding", "passed", "better", "better").silent_until("blood-watch", 60)
    drive.wait(1).blurts("vomit")
    drive.blurts("streaks")
    drive.silent_until("blood-watch", 60).wait(12)  # not said again
    assert drive.machine.memory.pending is None
    asked_ms = drive.now
    drive.wait(60)
    assert any(heard.at_ms > asked_ms and heard.text == "Answer me: more blood?" for heard in drive.heard)


def test_a_question_due_while_good_news_waits_to_be_asked_back_is_not_asked_early():
    """Found by walking in other orders: the beat's question came 1.8 s into the beat, its time before the beginning of all."""
    drive = blurted(like("open", "cuffed", "change allowed"), "neck swelling", "paramedics", "taken over", "taken over", "worse", "passed", "flat", "moving")
    assert drive.step == "mouth-mask"
    for _ in range(150):
        drive.wait(0.2)
        due_ms = drive.machine.next_deadline_ms()
        assert due_ms is None or due_ms >= drive.now
    beat = next(b for b in drive.beats if b.pace.what == "breaths" and b.at_ms > 5_000)
    questions = [h for h in drive.heard if h.role == "question" and h.at_ms > beat.at_ms and not h.text.endswith("Once more.")]
    assert questions and questions[0].at_ms >= beat.at_ms + 6_000 - 250
