"""The tables of CLINICAL sections 4 to 6, row by row: what is said, where answers lead, what silence does.

Order, wordings and seconds: common practice, no source, except where a line names one.
"""

import pytest
from driver import Drive, reach, table_for
from variants import like
from ways import (
    ALONE,
    CUFFED,
    LISTED,
    NECK_ONLY,
    NO_CHANGE,
    TO_BAG,
    TO_BAG_AFTER,
    TO_IN_HAND,
    TO_LAST_BAG,
    TO_LOOK,
    TO_PROVE,
    TO_TUBE_IN,
    TO_TUBE_OUT,
    VENT,
    alone,
)

SILENCE = [
    # variant, answers to get there, prompt, repeated after s, acts after s, next step
    (ALONE, (), "Is the tube in the neck?", 4, 8, "suction"),
    (VENT, (), "Is the tube in the neck?", 4, 8, "vent-off"),
    (NECK_ONLY, (), "Is the neck hole clear?", 4, 8, "suction"),
    (VENT, ("in place",), "Is the chest going up?", 5, 8, "suction"),
    (LISTED, ("in place",), "Take off the cap or valve.", 5, 8, "inner-out"),
    (LISTED, ("in place", "done"), "Inner tube out.", 5, 8, "suction"),
    (ALONE, ("in place",), "Did the catheter go all the way?", 4, 8, "look"),
    (ALONE, TO_LOOK, "Is the chest moving by itself?", 5, 10, "bag"),
    (ALONE, (*TO_LOOK, "moving"), "Lips: better, or still bad?", 5, 10, "bag"),
    (ALONE, TO_BAG, "Is the chest going up?", 4, 8, "saline"),
    (ALONE, (*TO_BAG, "rising"), "Saline in the tube: half a millilitre.", 8, 12, "bag-again"),
    (ALONE, (*TO_BAG, "rising", "done"), "Is the chest going up?", 4, 8, "suction-again"),
    (CUFFED, (*TO_IN_HAND, "tube ready"), "Empty the cuff.", 6, 10, "ties"),
    (ALONE, TO_TUBE_IN, "New tube in, along the curve.", 12, 20, "guide-out"),
    (ALONE, (*TO_TUBE_IN, "stuck"), "Once more.", 12, 20, "guide-out"),
    (ALONE, (*TO_TUBE_IN, "stuck", "stuck", "tube ready"), "Smaller tube in, along the curve.", 12, 20, "guide-out"),
    (CUFFED, (*TO_IN_HAND, "tube ready", "done", "done", "done", "tube in", "done"), "Fill the cuff: 6 millilitres of water.", 6, 10, "prove"),
    (ALONE, TO_PROVE, "Does it go?", 8, 12, "test-breaths"),
]


@pytest.mark.parametrize(("variant", "answers", "prompt", "repeat_s", "act_s", "target"), SILENCE, ids=lambda v: v if isinstance(v, str) else "")
def test_silence_repeats_and_acts_at_its_times(variant, answers, prompt, repeat_s, act_s, target):
    drive = reach(variant, *answers)
    step, asked = drive.step, drive.asked()
    assert asked.text == prompt
    drive.silent_until(target, act_s + 30)
    moved_at, _, _ = next(m for m in drive.moves() if m[1] == step and m[0] >= asked.at_ms)
    again = [at for at in drive.emitted(prompt) if asked.ends_ms < at < moved_at]
    assert moved_at - asked.ends_ms == act_s * 1000
    assert [at - asked.ends_ms for at in again] == [repeat_s * 1000]


def test_the_second_question_about_the_catheter_waits_no_longer_than_breaths_allow():
    """As above (4/8), but the last bag comes first when breaths are due: then the tube is unknown, as silence says."""
    drive = reach(ALONE, *TO_BAG, "rising", "done", "rising")
    asked = drive.asked()
    drive.silent_until("last-bag")
    assert drive.emitted(asked.text)[-1] - asked.ends_ms == 4000
    assert 5000 < drive.moves()[-1][0] - asked.ends_ms <= 8000
    drive.wait(4).blurts("won't pass")
    assert drive.step == "hold-tube", "a late answer is still heard"


PACES_ON = [
    (ALONE, TO_LAST_BAG, 10, "Chest flat? Change tube now."),
    (ALONE, TO_TUBE_OUT, 6, "Pull out the old one, along its curve."),
    (ALONE, TO_BAG_AFTER, 10, "Is the chest going up?"),
    (ALONE, ("halfway",), 6, "Pull it all the way."),
]


@pytest.mark.parametrize(("variant", "answers", "every_s", "text"), PACES_ON, ids=lambda v: v if isinstance(v, str) else "")
def test_silence_repeats_without_leading_on(variant, answers, every_s, text):
    """Rule 1: it speaks a condition, and takes no tube out."""
    drive = reach(variant, *answers)
    step, asked = drive.step, drive.heard[-1]
    drive.wait(every_s + 3)
    again = [h for h in drive.heard if h.text == text and h.at_ms > asked.at_ms]
    assert again and again[0].at_ms - asked.ends_ms == every_s * 1000
    drive.wait(17)
    assert drive.step == step and drive.machine.memory.known["tube"] != "out"


def test_in_a_change_silence_leads_up_to_the_old_tube_and_never_takes_it_out():
    """Somebody has said why it must come out: "tube in your hand" 10/15, cuff and ties 10 (section 5), then "pull" until it is done."""
    drive = reach(like("cuffed", without=("helper",)), *TO_IN_HAND)
    asked = drive.asked()
    for step, text, act_s in (("cuff-empty", "Empty the cuff.", 15), ("ties", "Ties off.", 5), ("tube-out", "Pull out the old one, along its curve.", 5)):
        drive.silent_until(step)
        assert drive.moves()[-1][0] - asked.ends_ms == act_s * 1000, "halved once nobody is heard"
        asked = drive.settle().asked()
        assert asked.text == text
    drive.wait(60)
    assert drive.step in ("tube-out", "other-breaths") and drive.machine.memory.known["tube"] != "out"


def test_the_ties_speak_the_condition_before_silence_leads_on():
    drive = reach(ALONE, *TO_IN_HAND, "tube ready")
    asked = drive.asked()
    drive.silent_until("tube-out")
    assert drive.moves()[-1][0] - asked.ends_ms == 10_000
    assert [at - asked.ends_ms for at in drive.emitted("Blocked? Ties off, change it.")] == [5000]


ROWS = [
    # row of CLINICAL, variant, answers to get there, answer, next step
    ("tube check", ALONE, (), "in place", "suction"),
    ("tube check", LISTED, (), "in place", "valve-off"),
    ("tube check", VENT, (), "in place", "vent-off"),
    ("tube check", ALONE, (), "came out", "tube-in"),
    ("tube check", ALONE, (), "halfway", "halfway"),
    ("ventilator", VENT, ("in place",), "rising", "vent-look"),
    ("ventilator", VENT, ("in place",), "flat", "suction"),
    ("open up", LISTED, ("in place",), "done", "inner-out"),
    ("open up", LISTED, ("in place", "done"), "done", "suction"),
    ("passed?", ALONE, ("in place",), "passed", "look"),
    ("passed?", ALONE, ("in place",), "won't pass", "in-hand"),
    ("passed?", ALONE, ("in place",), "no suction", "bag"),
    ("look", ALONE, TO_LOOK, "not better", "bag"),
    ("look", ALONE, TO_LOOK, "not breathing", "tap"),
    ("look", ALONE, (*TO_LOOK, "moving"), "not better", "bag"),
    ("rescue: bag", ALONE, TO_BAG, "rising", "saline"),
    ("rescue: bag", ALONE, TO_BAG, "flat", "saline"),
    ("rescue: bag", alone("change at once"), TO_BAG, "flat", "in-hand"),
    ("rescue: saline", ALONE, (*TO_BAG, "rising"), "done", "bag-again"),
    ("rescue: saline", ALONE, (*TO_BAG, "rising"), "no saline", "bag-again"),
    ("rescue: saline", alone(without=("saline",)), TO_BAG, "rising", "passed-again"),
    ("rescue: suction again", ALONE, (*TO_BAG, "rising", "done", "rising"), "won't pass", "in-hand"),
    ("rescue: last bag", ALONE, TO_LAST_BAG, "rising", "look"),
    ("rescue: last bag", ALONE, TO_LAST_BAG, "flat", "in-hand"),
    ("rescue: last bag", LISTED, ("in place", "done", "done", "passed", "not better", "rising", "done", "rising", "passed"), "flat", "valve-still"),
    ("second still struggling", ALONE, (*TO_LAST_BAG, "rising"), "not better", "keep-bagging"),
    ("in the hand", ALONE, TO_IN_HAND, "tube ready", "ties"),
    ("in the hand", CUFFED, TO_IN_HAND, "tube ready", "cuff-empty"),
    ("ties", ALONE, (*TO_IN_HAND, "tube ready"), "done", "tube-out"),
    ("out", ALONE, TO_TUBE_OUT, "done", "tube-in"),
    ("out", ALONE, TO_TUBE_OUT, "came out", "tube-in"),
    ("in", ALONE, TO_TUBE_IN, "tube in", "guide-out"),
    ("in", ALONE, TO_TUBE_IN, "stuck", "tube-in-again"),
    ("in", ALONE, (*TO_TUBE_IN, "stuck"), "stuck", "smaller"),
    ("guide", CUFFED, (*TO_IN_HAND, "tube ready", "done", "done", "done", "tube in"), "done", "cuff-fill"),
    ("guide", ALONE, (*TO_TUBE_IN, "tube in"), "done", "prove"),
    ("prove", ALONE, TO_PROVE, "passed", "bag-after"),
    ("prove", ALONE, TO_PROVE, "won't pass", "wrong-place"),
    ("bag after change", ALONE, TO_BAG_AFTER, "rising", "look"),
    ("bag after change", ALONE, (*TO_PROVE, "no suction", "flat"), "done", "smaller"),
    ("wrong place", ALONE, (*TO_PROVE, "won't pass"), "done", "smaller"),
    ("smaller", ALONE, (*TO_TUBE_IN, "stuck", "stuck", "tube ready"), "tube in", "guide-out"),
    ("smaller", ALONE, (*TO_TUBE_IN, "stuck", "stuck", "tube ready"), "stuck", "no-tube"),
    ("smaller", alone("over catheter"), (*TO_TUBE_IN, "stuck", "stuck", "tube ready"), "stuck", "over-catheter"),
    ("smaller", alone("over catheter"), (*TO_TUBE_IN, "stuck", "stuck", "tube ready", "stuck"), "stuck", "no-tube"),
    ("halfway", ALONE, ("halfway",), "done", "tube-in"),
    ("no change at home", NO_CHANGE, ("in place",), "won't pass", "neck-mask"),
    ("no change at home", NO_CHANGE, (), "came out", "no-tube"),
    ("neck-only", NECK_ONLY, ("in place", "passed"), "not better", "neck-only-mask"),
    ("no breaths", ALONE, ("in place",), "not breathing", "tap"),
    ("no breaths, mid-change", ALONE, TO_TUBE_OUT, "not breathing", "tube-out"),
    ("no breaths, tube out", ALONE, TO_TUBE_IN, "not breathing", "tube-in"),
    ("no response", ALONE, ("in place", "not breathing"), "limp", "pushes"),
    ("no response", ALONE, ("in place", "not breathing"), "moving", "bag"),
    ("bleeding", ALONE, ("in place",), "bleeding", "passed"),
    ("vomit", ALONE, TO_LOOK, "vomit", "look"),
    ("suction dead", ALONE, TO_IN_HAND, "no suction", "in-hand"),
    ("mucus", ALONE, TO_LOOK, "mucus", "look"),
]


PASSED_THROUGH = {"suction"}
"""Has no question of its own: the next step asks."""


@pytest.mark.parametrize(("row", "variant", "answers", "answer", "target"), ROWS, ids=lambda v: v if isinstance(v, str) else "")
def test_an_answer_leads_where_the_row_says(row, variant, answers, answer, target):
    drive = reach(variant, *answers)
    before = len(drive.moves())
    drive.blurts(answer)
    went = [drive.step, *drive.settle().steps()[before:]]
    assert target in went, f"{row}: {answer!r} leads to {went}"
    assert drive.step == target or target in PASSED_THROUGH


SAID = [
    # variant, answers, what is said in this order from the last answer on
    (like(), (), ["Sam: emergency bag and phone.", "Is the tube in the neck?"]),
    (like("ventilated"), ("in place",), ["Take the vent off the tube.", "Bag on.", "Two gentle squeezes.", "Sam: silence the alarm.", "Is the chest going up?"]),
    (like("on tube", "inner tube"), ("in place",), ["Take off the cap or valve."]),
    (like("on tube", "inner tube"), ("in place", "done"), ["Inner tube out."]),
    (like(), ("in place",), ["Sam: oxygen on, highest flow.", "Suction now. Depth: 6 and a half centimetres.", "Out now.", "Did the catheter go all the way?"]),
    (ALONE, ("in place", "no suction"), ["Bag on the tube.", "Oxygen on, highest flow.", "Squeeze with me.", "Is the chest going up?"]),
    (ALONE, TO_BAG, ["Bag on the tube.", "Squeeze when Juno breathes in.", "Is the chest going up?"]),
    (ALONE, (*TO_BAG, "rising"), ["Bag off.", "Saline in the tube: half a millilitre."]),
    (ALONE, (*TO_BAG, "rising", "done"), ["Bag on.", "Squeeze with me.", "Is the chest going up?"]),
    (ALONE, (*TO_BAG, "rising", "done", "rising"), ["Suction again. Depth: 6 and a half centimetres.", "Out now.", "Did the catheter go all the way?"]),
    (ALONE, TO_LAST_BAG, ["Bag on.", "Keep squeezing with me.", "Is the chest going up?"]),
    (ALONE, (*TO_LAST_BAG, "rising", "not better"), ["Keep squeezing.", "Help is next."]),
    (alone("inner tube", "inner needed for bag"), ("in place", "done", "passed", "not better"), ["Clean inner tube in.", "Bag on the tube."]),
    (like(), TO_IN_HAND, ["Sam: hold the tube still.", "Roll under the shoulders.", "New tube in your hand, guide inside."]),
    (ALONE, (*TO_IN_HAND, "no spare"), ["Blocked tube must come out.", "Ties off."]),
    (ALONE, (*TO_IN_HAND, "no spare", "done", "done"), ["Take the smaller tube."]),
    (ALONE, TO_TUBE_OUT, ["Pull out the old one, along its curve."]),
    (ALONE, ("came out",), ["Roll under the shoulders.", "New tube in, along the curve."]),
    (ALONE, ("came out", "no spare"), ["Put the same one back."]),
    (ALONE, (*TO_TUBE_IN, "stuck"), ["Do not force.", "Once more."]),
    (CUFFED, (*TO_IN_HAND, "tube ready", "done", "done", "done", "tube in", "done"), ["Hold the tube.", "Fill the cuff: 6 millilitres of water."]),
    (ALONE, TO_PROVE, ["Hold the tube.", "Catheter down the tube.", "Does it go?"]),
    (ALONE, (*TO_TUBE_IN, "not breathing", "tube in", "done"), ["Bag on.", "Two gentle squeezes.", "Catheter down the tube.", "Does it go?"]),
    (like(), (*TO_PROVE, "passed", "rising"), ["Sam: tie the tube.", "Is the chest moving by itself?"]),
    (ALONE, (*TO_PROVE, "passed", "rising"), ["Keep holding the tube.", "Is the chest moving by itself?"]),
    (alone("past depth"), (*TO_PROVE, "passed", "flat"), ["Suction now.", "Stop at resistance.", "Back one centimetre.", "Out now."]),
    (ALONE, (*TO_PROVE, "won't pass"), ["Stop squeezing.", "Pull the tube out."]),
    (ALONE, (*TO_PROVE, "won't pass", "done"), ["Small mask over the neck hole.", "Two gentle squeezes.", "Take the smaller tube."]),
    (like(), (*TO_PROVE, "won't pass", "done"), ["Mask over mouth and nose.", "Sam: gauze on the neck hole.", "Two gentle squeezes.", "Take the smaller tube."]),
    (ALONE, (*TO_TUBE_IN, "not breathing", "stuck", "stuck"), ["Small mask over the neck hole.", "Squeeze with me.", "Take the smaller tube."]),
    (NO_CHANGE, ("in place", "won't pass"), ["Call now.", "Oxygen on face and neck.", "Small mask over the neck hole.", "Squeeze with me."]),
    (NO_CHANGE, ("came out",), ["Oxygen on face and neck.", "Any breaths by itself?"]),
    (like(), ("came out", "stuck", "stuck", "no spare", "not better"), ["Mask over mouth and nose.", "Sam: press gauze on the neck hole.", "Squeeze with me.", "Is the chest going up?"]),
    (like("hard"), ("came out", "stuck", "stuck", "no spare", "not better"), ["Small mask over the neck hole.", "Squeeze with me."]),
    (NECK_ONLY, ("in place", "passed", "not better", "flat"), ["Press the small mask tighter."]),
    (ALONE, ("in place", "not breathing"), ["Bag on the tube.", "Two gentle squeezes.", "Tap and shout. Any movement?"]),
    (like(), ("in place", "not breathing", "limp"), ["Two gentle squeezes.", "Flat on a hard floor.", "Push the chest with me.", "Sam: fetch a defibrillator."]),
    (alone("cuffed", "bleeding cuff"), ("in place", "bleeding"), ["Keep this tube.", "Cuff, add air: 2 millilitres.", "Suction the blood.", "Out now."]),
    (ALONE, (*TO_LOOK, "vomit"), ["Turn the head.", "Suction first.", "Out now.", "Is the chest moving by itself?"]),
    (ALONE, (*TO_IN_HAND, "no suction"), ["Go on without suction."]),
    (alone("mouth to tube"), (*TO_BAG, "no bag"), ["Breathe into the tube."]),
    (ALONE, (*TO_LOOK, "no oxygen"), ["Room air works."]),
    (ALONE, (*TO_BAG, "no oxygen"), ["Room air works.", "Keep squeezing."]),
    (NECK_ONLY, ("in place", "passed", "not better", "no oxygen"), ["Room air works.", "Keep squeezing."]),
    (ALONE, (*TO_LOOK, "paramedics"), ["Keep going.", "Until they take over."]),
]  # fmt: skip


@pytest.mark.parametrize(("variant", "answers", "texts"), SAID, ids=lambda v: v[0] if isinstance(v, list) else "")
def test_what_the_row_says_is_said_in_order(variant, answers, texts):
    drive = Drive(table_for(variant)).start()
    for answer in answers[:-1]:
        drive.says(answer)
    since = drive.settle().now if answers else 0
    if answers:
        drive.says(answers[-1])
    drive.wait(0.1).settle(40)
    said = [h.text for h in drive.heard if h.at_ms >= since and h.role not in ("call", "echo")]
    rest = iter(said)
    assert all(text in rest for text in texts), f"{texts} not in this order in {said}"


def test_who_has_not_squeezed_yet_is_not_told_to_keep_squeezing():
    drive = Drive(table_for(ALONE)).start()
    for answer in (*TO_LOOK, "no oxygen"):
        drive.says(answer)
    drive.wait(0.1).settle(40)
    assert "Room air works." in [h.text for h in drive.heard] and "Keep squeezing." not in [h.text for h in drive.heard]


def test_the_first_test_breaths_are_two_and_a_proven_tube_gets_the_rescue_breaths():
    """3 to 4 firm bag breaths: common practice, no source (REFERENCES, breathing)."""
    unproven = reach(ALONE, "in place", "no suction")
    assert unproven.beats[-1].pace.count == 2
    assert reach(ALONE, *TO_BAG).beats[-1].pace.count == 4
    adult = reach(like("adult", without=("helper",)), *TO_BAG).beats[-1]
    assert 3 <= adult.pace.count <= 4
    assert adult.breaths(10**9)[-1] - adult.at_ms <= 12_000, "breaths of a cycle begin within 12 s"


@pytest.mark.parametrize(("age", "per_minute"), [("infant", (20, 30)), ("child", (20, 30)), ("adult", (10, 12))])
def test_breaths_are_paced_as_the_guidelines_say(age, per_minute):
    """Topjian et al. 2020 (20 to 30 a minute), Panchal et al. 2020 (10 a minute; upper end common practice)."""
    low, high = per_minute
    assert low <= reach(like(age, without=("helper",)), *TO_BAG).beats[-1].pace.per_minute <= high


@pytest.mark.parametrize(
    ("facts", "cycle"),
    [(("child", "helper"), (15, 2)), (("infant", "helper"), (15, 2)), (("adult", "helper"), (30, 2)), (("child",), (30, 2)), (("adult",), (30, 2))],
)
def test_pushes_follow_the_guidelines_ratio_and_rate(facts, cycle):
    """30:2 for one rescuer, 15:2 for two at an infant or child, 100 to 120 a minute: Topjian, Panchal et al. 2020."""
    variant = like(*facts, without=() if "helper" in facts else ("helper",))
    pace = reach(variant, "in place", "not breathing", "limp").wait(12).beats[-1].pace
    assert pace.what == "pushes" and (pace.pushes_a_cycle, pace.breaths_a_cycle) == cycle
    assert 100 <= pace.per_minute <= 120


def test_untrained_hands_push_only():
    drive = reach(like(without=("compressions trained",)), "in place", "not breathing", "limp").wait(12)
    assert drive.beats[-1].pace.what == "pushes" and drive.beats[-1].pace.breaths_a_cycle == 0
    assert "push-breaths" not in drive.steps()


def test_pushes_first_when_trained_so():
    assert "push-breaths" not in reach(like("pushes first"), "in place", "not breathing", "limp").wait(12).steps()
    assert "push-breaths" in reach(like(), "in place", "not breathing", "limp").wait(12).steps()


@pytest.mark.parametrize(("age", "most_s"), [("infant", 5), ("child", 5), ("adult", 10)])
def test_a_suction_pass_ends_with_out_now(age, most_s):
    """5 s infant and child, 10 s adult (common practice); never over 15 s: Blakeman et al. 2022."""
    drive = reach(like(age, without=("helper",)), "in place")
    beat = next(b for b in drive.beats if b.pace.what == "suction")
    out = drive.said("Out now.")
    assert beat.ends_ms - beat.at_ms == most_s * 1000 <= 15_000
    assert 0 <= out - beat.ends_ms <= 200


def test_halfway_then_a_new_tube_and_the_old_one_is_known_to_be_out():
    drive = reach(ALONE, "halfway", "done")
    assert drive.machine.memory.known["tube"] == "out" and drive.step == "tube-in"


def test_the_valve_is_asked_about_once_then_changed():
    drive = reach(LISTED, "in place", "done", "done", "passed", "not better", "rising", "done", "rising", "passed", "flat")
    assert drive.step == "valve-still" and drive.said("Valve or cap still on?")
    drive.to("last-bag", "still on", "done")
    drive.to("in-hand", "flat")


def test_a_flat_chest_behind_a_passing_catheter_is_suctioned_once_more_then_the_tube_comes_out():
    drive = reach(ALONE, *TO_PROVE, "passed", "flat")
    assert drive.call == "asked" and "suction-after" in drive.steps()
    drive.wait(12).to("wrong-place", "flat")


def test_without_breath_by_the_other_route_the_wrong_tube_is_left_no_longer_than_a_few_seconds():
    """Wrong place, silent: paces the other route."""
    drive = reach(ALONE, *TO_PROVE, "won't pass")
    drive.wait(20)
    assert "other-breaths" in drive.steps()
    assert drive.machine.memory.known["tube"] != "out"


def test_flat_twice_takes_the_other_route_and_never_by_silence():
    drive = reach(like(), "came out", "stuck", "stuck", "no spare", "not better")
    assert drive.step == "mouth-mask"
    drive.wait(60)
    assert drive.step == "mouth-mask"
    for target in ("mouth-mask", "neck-mask", "neck-mask", "mouth-mask"):
        drive.to(target, "flat")


def test_cuff_emptied_and_still_not_better_is_filled_again():
    """Not better with a cuffed tube that was emptied: "Fill the cuff"."""
    drive = reach(CUFFED, *TO_LAST_BAG, "rising")
    drive.machine.memory.marks.add("cuff emptied")
    drive.says("not better").settle()
    assert drive.said("Fill the cuff: 6 millilitres of water.") is not None


def test_the_hissing_is_asked_about_later():
    drive = reach(ALONE, *TO_LAST_BAG, "rising", "not better")
    assert drive.wait(10).said("Is the oxygen hissing?") is not None
    drive.says("oxygen on").wait(40)
    assert drive.machine.memory.known["oxygen"] == "on"
    assert drive.texts().count("Is the oxygen hissing?") == 1


def test_every_two_minutes_any_breathing_and_swap():
    drive = reach(like(), "in place", "not breathing", "limp")
    drive.wait(20)
    begun = next(b.at_ms for b in drive.beats if b.pace.what == "pushes")
    drive.wait(400)
    for text in ("Any breathing?", "Sam: swap."):
        times = [begun, *(h.at_ms for h in drive.heard if h.text == text and h.at_ms >= begun)]
        assert len(times) >= 4
        assert all(110_000 <= b - a <= 132_000 for a, b in zip(times, times[1:], strict=False)), (text, times)
