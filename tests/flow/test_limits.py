"""CLINICAL section 10: the limits, on variants of every kind. Common practice, no source."""

import pytest
from driver import Drive, reach, table_for
from variants import combinations, drawn, like
from ways import ALONE, TO_BAG, TO_LAST_BAG, TO_LOOK, TO_PROVE, TO_TUBE_IN, TO_TUBE_OUT

from prompter.events import Say

MOST_FIRST_BREATH_S = {"ventilated": 20, "something to take off": 60, "other": 45}


def kind_of(facts: frozenset[str]) -> str:
    if "ventilated" in facts:
        return "ventilated"
    return "something to take off" if facts & {"on tube", "inner tube"} else "other"


def longest(prompts: list[int]) -> int:
    return max(b - a for a, b in zip(prompts, prompts[1:], strict=False))


def test_all_variants_are_counted_and_the_impossible_ones_left_out():
    found, left_out = combinations()
    assert (len(found), left_out) == (18_480, 9_168)
    assert len(found) + left_out == 3 * 3 * 3 * 2**10 and len(set(found)) == len(found)


def test_pure_silence_to_the_first_breath_prompt_and_breaths_and_calls_from_there():
    kinds = set()
    for variant in drawn(2026, 40):
        drive = Drive(table_for(variant)).start().wait(180)
        prompts, facts = drive.breath_prompts(), sorted(variant.facts)
        kind = kind_of(variant.facts)
        kinds.add(kind)
        assert prompts[0] <= MOST_FIRST_BREATH_S[kind] * 1000, facts
        assert longest([*prompts, drive.now]) <= 30_000, facts
        due = 0 if kind == "ventilated" else variant.numbers["call_after_s"] * 1000
        assert drive.call_prompts()[0] <= due + 5000, facts
        asked = [c.at_ms for c in drive.cues if isinstance(c, Say) and c.role == "call"]
        assert longest(asked) <= 20_000, facts
    assert kinds == set(MOST_FIRST_BREATH_S)


def test_from_no_breaths_to_the_first_breath_prompt():
    """15 s. With the tube out the table wants one try of 20 s first: there 45 s from the tube out hold."""
    for variant in drawn(7, 25):
        for answers in ((), ("in place",), ("in place", "done")):
            drive = reach(variant, *answers)
            since = drive.now
            drive.blurts("not breathing")
            drive.wait(15)
            assert [at for at in drive.breath_prompts() if at >= since][0] - since <= 15_000


@pytest.mark.parametrize("call_after_s", [0, 10, 30, 90])
def test_the_call_is_asked_for_when_the_plan_says(call_after_s):
    drive = Drive(table_for(like(without=("helper",), call_after_s=call_after_s))).start()
    drive.says("in place", "won't pass").wait(100)
    assert call_after_s * 1000 <= drive.call_prompts()[0] <= call_after_s * 1000 + 5000


CHANGE_PROMPTS = ("Roll under the shoulders.", "hold the tube still", "Small mask over the neck hole.", "Mask over mouth and nose.", "Call now.")


def test_wont_pass_to_the_first_prompt_of_the_change_or_another_route():
    for variant in drawn(31, 25):
        drive = reach(variant, *(["in place"] if "ventilated" not in variant.facts else ["in place", "flat"]))
        while drive.step in ("valve-off", "inner-out"):
            drive.says("done").settle()
        while drive.step != "passed":
            drive.wait(0.5)
        since = drive.now
        drive.blurts("won't pass")
        drive.wait(20)
        assert min(at for text in CHANGE_PROMPTS if (at := drive.said(text, since)) is not None) - since <= 20_000


@pytest.mark.parametrize(("more", "most_s"), [(("change at once",), 20), ((), 90)])
@pytest.mark.parametrize("age", ["infant", "child", "adult"])
def test_chest_flat_to_the_change(more, most_s, age):
    """`change`: 20 s; `cycle`: 90 s, here with every answer as slow as silence allows and flat at the end."""
    drive = reach(like(age, "inner tube", *more, without=("helper",)), "in place", "done", "passed", "not better")
    since = drive.now
    drive.says("flat")
    while drive.said("Roll under the shoulders.", since) is None:
        assert drive.now - since <= most_s * 1000
        drive.says("flat") if drive.step == "last-bag" and drive.settle() else drive.wait(0.5)
    assert drive.said("Roll under the shoulders.", since) - since <= most_s * 1000


@pytest.mark.parametrize("variant", [like(), ALONE, like("adult", "cuffed", "inner tube", "inner needed for bag"), like("hard"), like("neck only")], ids=range(5))
@pytest.mark.parametrize("breathing", [[], ["not breathing"]], ids=["breathing", "not breathing"])
def test_from_the_old_tube_out_to_breaths_by_the_new_one_or_another_route(variant, breathing):
    """45 s, with silence, and with answers as late as the prompts allow."""
    for late_s in (None, 3, 7, 11):
        drive = reach(variant, "came out", *breathing)
        out = next(c.at_ms for c in drive.cues if getattr(c, "value", "") == "out")
        end = out + 45_000
        while drive.now < end:
            drive.wait(late_s or 5)
            if late_s is not None:
                answer = {"tube-in": "tube in", "guide-out": "done", "cuff-fill": "done", "inner-in": "done"}.get(drive.step)
                if answer:
                    drive.blurts(answer)
        assert [at for at in drive.breath_prompts() if out <= at <= end], late_s


@pytest.mark.parametrize("variant", [ALONE, like("adult", "cuffed")], ids=["child", "adult"])
def test_in_a_change_with_the_old_tube_still_in_breaths_come_within_a_minute(variant):
    drive = reach(variant, *TO_LAST_BAG, "flat")
    since = drive.now
    drive.wait(150)
    assert drive.step in ("tube-out", "other-breaths"), "silence leads up to the old tube and no further"
    assert longest([at for at in drive.breath_prompts() if at >= since - 10_000] + [drive.now]) <= 60_000


def test_no_question_in_the_first_six_seconds_of_pacing():
    for variant in drawn(77, 15):
        drive = Drive(table_for(variant)).start().wait(150)
        for beat in drive.beats:
            if beat.pace.what in ("breaths", "pushes"):
                assert not [h.text for h in drive.heard if h.role == "question" and beat.at_ms <= h.at_ms < beat.at_ms + 6000]


def test_no_question_comes_early_into_the_beat_after_good_news_that_was_not_confirmed():
    drive = reach(ALONE, *TO_LOOK)
    drive.says("not better")
    drive.wait(0.5).blurts("better")
    drive.wait(30)
    beat = next(b for b in drive.beats if b.pace.what == "breaths")
    early = [h.text for h in drive.heard if h.role == "question" and beat.at_ms <= h.at_ms < beat.at_ms + 6000]
    assert early in ([], ["Breathing well? Once more."]), "the read-back answers what was said; nothing else is asked"


@pytest.mark.parametrize("said", [None, "hold on", "say again", "taken over", "number"])
def test_one_try_at_an_insertion_lasts_twenty_seconds(said):
    drive = reach(ALONE, *TO_TUBE_IN)
    if said == "taken over":
        drive.blurts("paramedics")
        drive.settle()
    asked = drive.asked() if said != "taken over" else next(h for h in drive.heard if h.step == "tube-in" and h.text.startswith("New tube"))
    drive.wait(5)
    if said == "number":
        drive.number(91)
    elif said:
        drive.blurts(said)
    drive.silent_until("guide-out", 40)
    assert drive.moves()[-1][0] - asked.ends_ms == 20_000


def test_never_more_than_three_tubes():
    variant = like("over catheter")
    drive = reach(variant, "came out", "stuck", "stuck", "tube ready", "stuck", "stuck")
    assert drive.step == "no-tube" and drive.machine.memory.counts["tries"] == 3
    for again in ("came out", "halfway", "not breathing"):
        drive.blurts(again)
        drive.settle()
        assert drive.machine.memory.counts["tries"] == 3 and drive.machine.memory.known["tube"] == "out"
    fell = reach(variant, "came out", "tube in", "done", "came out", "tube in", "done", "came out", "tube in", "done", "halfway", "done")
    assert fell.machine.memory.counts["tries"] == 3 and fell.step == "no-tube"


def test_a_visit_in_the_middle_is_no_new_try():
    drive = reach(ALONE, *TO_TUBE_IN)
    drive.blurts("vomit")
    drive.silent_until("tube-in")
    assert drive.machine.memory.counts["tries"] == 1


def test_breaths_after_a_new_tube_come_only_after_the_guide_is_out():
    for answers in (["tube in"], ["not breathing", "tube in"], ["tube in", "not breathing"], ["tube in", "limp"], []):
        drive = reach(ALONE, *TO_TUBE_OUT)
        drive.wait(30).says("done")
        since = drive.now
        for answer in answers:
            drive.settle().blurts(answer)
        drive.wait(60)
        guide = drive.said("Pull the guide out.", since)
        breaths = [at for at in drive.breath_prompts() if at >= since]
        masks = [h for h in drive.heard if "mask over" in h.text.lower() and h.at_ms >= since]
        assert guide is not None
        assert breaths[0] >= guide or masks, answers


def test_breaths_are_asked_for_before_a_suction_pass_that_would_take_too_long():
    adult = like("adult", without=("helper",))
    drive = reach(adult, *TO_BAG, "rising")
    drive.wait(3).says("done")
    drive.wait(60)
    assert longest([*drive.breath_prompts(), drive.now]) <= 30_000


def test_after_better_and_worse_the_breaths_begin_anew():
    """Watching has no breath prompts; what comes after is a new bout, with suction before breaths."""
    drive = reach(like(without=("oximeter", "helper")), *TO_LAST_BAG, "rising", "better", "better")
    assert drive.step == "watch"
    drive.wait(100).blurts("worse")
    drive.wait(4)
    assert drive.step == "suction"


def test_prove_silent_gives_two_test_breaths():
    drive = reach(ALONE, *TO_PROVE)
    drive.silent_until("test-breaths")
    assert drive.wait(4).beats[-1].pace.count == 2
