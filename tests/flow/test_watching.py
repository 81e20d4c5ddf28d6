"""CLINICAL section 7: watching, the call, handing over and closing. Common practice, no source."""

from driver import Drive, reach
from variants import like
from ways import ALONE, NECK_ONLY, TO_BAG, TO_LOOK


def watching(*more: str, without: tuple[str, ...] = ()) -> Drive:
    variant = like(*more, without=("oximeter", *without))
    return reach(variant, *(["in place", "rising"] if "ventilated" in more else TO_LOOK), "better", "better")


def test_watch_asks_after_10_30_then_every_60_seconds():
    drive = watching()
    assert drive.step == "watch" and drive.said("Stay close.") and drive.said("Watch the chest.")
    since = next(at for at, _, target in drive.moves() if target == "watch")
    for after_s in (10, 30, 60, 60):
        drive.settle(90)
        assert drive.emitted("How is Juno now?")[-1] - since == after_s * 1000
        since = drive.now
        drive.blurts("still fine")
        drive.wait(5)


def test_watch_silence_is_louder_then_the_call():
    drive = watching("ventilated")
    assert drive.said("Stay on the bag, or back on the vent?") is not None
    drive = watching()
    drive.blurts("on speaker")
    drive.settle(60)
    asked = drive.asked()
    drive.wait(21)
    assert [at - asked.ends_ms for at in drive.emitted(asked.text) if at > asked.at_ms] == [10_000]
    assert drive.said("Answer me: how is Juno?", asked.ends_ms + 19_000) is not None


def test_bag_or_vent_silence_keeps_the_bag():
    drive = watching("ventilated")
    drive.silent_until("watch")
    assert "on vent again" not in drive.machine.memory.marks


def test_watch_getting_worse_leads_to_suction_and_the_timer_starts_again():
    drive = watching(without=("helper",))
    drive.blurts("on speaker")
    drive.settle(40)
    worse = drive.now
    drive.blurts("worse")
    assert drive.step == "suction"
    drive.wait(40)
    asked = [at for at in drive.call_prompts() if at > worse]
    assert asked and asked[0] - worse <= 35_000


def test_phone_the_clinician_when_it_holds():
    drive = watching()
    for _ in range(3):
        drive.settle(90).blurts("still fine")
        drive.wait(3)
    assert drive.said("Phone Doctor Imre Vale when it holds.") is not None


def test_on_speaker_tells_the_operator_unasked():
    drive = reach(ALONE, "in place")
    drive.blurts("on speaker")
    drive.settle()
    assert drive.said("For the operator.") is not None and drive.said("Breathes through a neck tube.") is not None
    neck = reach(NECK_ONLY, "in place")
    neck.blurts("on speaker")
    assert neck.settle().said("Breathes only through the neck.") is not None


def test_address_and_call_back_number_are_read_twice():
    drive = reach(ALONE, "in place")
    drive.blurts("say the address")
    drive.settle()
    assert sum("12 Lantern Row" in text for text in drive.texts()) == 2
    assert sum("5 5 5, 0 1 1 7" in text for text in drive.texts()) == 2


def test_paramedics_stop_nothing_and_taken_over_must_be_said_twice():
    drive = reach(like(), "in place", "not breathing", "limp")
    drive.wait(15)
    assert drive.machine.paced
    drive.blurts("taken over")
    assert drive.machine.paced and drive.step == "pushes", "nobody is there yet"
    drive.wait(12).blurts("paramedics")
    assert drive.machine.paced and drive.step == "pushes"
    drive.wait(2).blurts("taken over")
    assert drive.machine.paced and drive.step == "pushes"
    drive.wait(3).blurts("taken over")
    assert drive.step == "handed-over" and not drive.machine.paced and drive.call == "ended"


def test_tell_them_is_a_summary_of_about_twenty_seconds():
    drive = reach(ALONE, *TO_BAG, "rising", "done", "flat", "passed")
    since = drive.now
    drive.blurts("tell them")
    drive.settle(60)
    told = [h for h in drive.heard if h.at_ms >= since and h.role == "notice"]
    assert told and told[-1].ends_ms - told[0].at_ms < 25_000
    assert "The catheter passed." in [h.text for h in told]


def test_closing_needs_two_different_phrases():
    drive = watching()
    drive.settle(40).blurts("finished")
    assert drive.step == "watch"
    drive.wait(2).blurts("finished")
    assert drive.step == "closing"
    drive.wait(3).blurts("finished")
    assert not drive.machine.closed
    drive.says("close it")
    assert drive.step == "debrief" and not drive.machine.closed
    drive.wait(90)
    assert drive.machine.closed and drive.machine.outcome == "better"
    assert drive.said("Fill the emergency bag again.") is not None


def test_the_crew_may_close_too():
    drive = reach(ALONE, "in place")
    for answer in ("paramedics", "taken over", "taken over"):
        drive.blurts(answer)
        drive.wait(2)
    assert drive.step == "handed-over" and drive.machine.outcome == "handed over"
    drive.settle(90).says("finished", "close it")
    assert drive.step == "debrief-bag", "how the patient is, the crew knows"
    drive.wait(70)
    assert drive.machine.closed and drive.machine.outcome == "handed over"
