"""The times, worked by hand from hand-made journals."""

from pathlib import Path

import pytest

from prompter.journal import read
from prompter.review.incident import Incident, build


@pytest.fixture
def account(sample, tmp_path: Path):
    def make(story) -> Incident:
        return build(read(story.write(tmp_path / "a.jsonl")), "a")

    return make


@pytest.fixture
def story(sample):
    return sample.Story().at(-0.4, "opened", **sample.opened()).at(0, "started")


def json_measures(incident: Incident) -> dict:
    return incident.to_json()["measures"]


def test_a_change_worked_by_hand(account, story):
    story.moved(30, "not yet", "asked", "timed", machine="call").say(
        31, "Call on speaker.", "bag", "call"
    )
    story.paced(20, "breaths", 20, 4)  # 20, 23, 26, 29
    story.at(32, "pace stopped").learned(40, "tube", "out", "spoken").learned(
        55, "tube", "unknown", "spoken"
    )
    story.paced(60, "breaths", 30, 3)  # 60, 62, 64
    story.at(65, "pace stopped").learned(66, "tube", "proven open", "spoken")
    story.moved(70, "asked", "on speaker", "keyed", machine="call")
    story.at(75, "numbered", quantity="spo2", value=81, how="spoken").at(
        80, "numbered", quantity="spo2", value=90, how="keyed"
    )
    story.learned(90, "breathing", "better", "spoken").at(120, "closed", outcome="better")
    incident = account(story)
    assert json_measures(incident) == {
        "first_breath_s": 20,
        "longest_without_breath_s": 31,  # from 29 to 60; 20 before the first, 26 from 64 to better
        "call_asked_s": 30,
        "on_speaker_s": 70,
        "tube_out_s": 40,
        "tube_proven_s": 66,
        "lowest_spo2": 81,
    }
    assert (incident.duration_s, incident.outcome) == (120, "better")
    assert incident.measures.longest_pause.length_s == 31
    assert (
        incident.measures.breaths_a_minute == 20.0
    )  # gaps of 3, 3, 3, 2 and 2 s: the middle one is 3


def test_nothing_happened(account, story):
    incident = account(story.at(50, "note", text="silence"))
    assert json_measures(incident) == {
        "first_breath_s": None,
        "longest_without_breath_s": 50,
        "call_asked_s": None,
        "on_speaker_s": None,
        "tube_out_s": None,
        "tube_proven_s": None,
        "lowest_spo2": None,
    }
    assert incident.outcome == "open"


def test_time_without_breath_counts_only_while_not_better(account, story):
    story.learned(10, "breathing", "better", "spoken").learned(
        100, "breathing", "trouble", "spoken"
    )
    story.paced(108, "breaths", 60, 2).learned(115, "breathing", "better", "spoken").at(
        400, "closed", outcome="better"
    )
    incident = account(story)
    # before better: 10 s; after worse: 100 to 108 and 109 to 115
    assert incident.measures.longest_without_breath.length_s == 10
    assert incident.measures.longest_pause.length_s == 6


def test_breaths_are_worked_out_from_the_pace_when_no_beat_is_there(account, story):
    story.at(12, "pace", what="breaths", per_minute=20, count=4).at(
        40, "pace", what="breaths", per_minute=20, count=None
    )
    story.at(50, "pace stopped").at(60, "closed", outcome="open")
    incident = account(story)
    assert incident.measures.breaths_s == [12, 15, 18, 21, 40, 43, 46, 49]
    assert incident.measures.breaths_estimated
    assert incident.measures.longest_without_breath.length_s == 19


def test_a_tube_that_never_was_out_is_proven_when_the_catheter_passes(account, story):
    incident = account(
        story.learned(18, "tube", "proven open", "spoken").at(30, "closed", outcome="better")
    )
    assert json_measures(incident)["tube_proven_s"] == 18
    assert json_measures(incident)["tube_out_s"] is None


def test_suction_passes_and_pushes(account, story):
    story.at(10, "pace", what="suction", per_minute=60, count=5).moved(
        14, "suction", "passed", "spoken", "passed"
    )
    story.at(20, "pace", what="suction", per_minute=60, count=5).at(25, "pace stopped")
    story.learned(30, "pushes", "started", "spoken").learned(50, "pushes", "paused", "timed")
    story.learned(57, "pushes", "started", "timed").at(100, "closed", outcome="handed over")
    m = account(story).measures
    assert [s.length_s for s in m.suction] == [4, 5]
    assert [s.length_s for s in m.pushes] == [20, 43]
    assert [s.length_s for s in m.push_pauses] == [7]


def test_a_number_that_was_asked_back_is_not_the_lowest(account, story):
    story.at(5, "numbered", quantity="spo2", value=8, how="spoken")
    story.at(9, "numbered", quantity="spo2", value=60, how="spoken").at(
        9.1, "refused", what="spo2 60", why="asked back"
    )
    story.at(20, "numbered", quantity="spo2", value=88, how="spoken").at(
        25, "numbered", quantity="pulse", value=150, how="keyed"
    )
    m = account(story).measures
    assert (m.lowest_spo2.value, m.lowest_spo2.t_s) == (88, 20)
    assert m.lowest_pulse.value == 150


def test_the_first_call_is_the_prompt_or_the_move_whichever_was_first(account, story):
    story.say(7, "Call on speaker.", "bag", "call").moved(
        9, "not yet", "asked", "timed", machine="call"
    )
    assert account(story).measures.call_asked_s == 7


def test_a_clock_that_starts_again_is_bridged_by_the_wall_clock(sample, tmp_path):
    from datetime import timedelta

    from prompter.journal import Journal

    journal = Journal.create(tmp_path / "a.jsonl", {"kind": "opened"}, sample.START, 5_000_000)
    journal.append({"kind": "started"}, sample.START, 5_000_000)
    journal.append(
        {"kind": "note", "text": "before"}, sample.START + timedelta(seconds=40), 5_040_000
    )
    journal.append(
        {"kind": "note", "text": "after the power came back"},
        sample.START + timedelta(seconds=70),
        1_000,
    )
    journal.append({"kind": "note", "text": "later"}, sample.START + timedelta(seconds=99), 6_000)
    journal.close()
    assert [e.t_s for e in build(read(tmp_path / "a.jsonl"), "a").events] == [0, 0, 40, 70, 75]


def test_what_was_wrong_uncertain_and_used(incident):
    assert [f.text for f in incident.wrong] == [
        "the suction catheter would not pass",
        "“it's stuck”",
    ]  # taken out on purpose: not wrong
    assert [f.t_s for f in incident.assumed] == [84]
    assert incident.undone == [231.3]
    assert incident.asked_again == 2
    assert [(s.from_s, s.to_s) for s in incident.deaf] == [(150, 161)]
    assert incident.tries == 1
    assert [f.text for f in incident.left_flow] == ["tube ready (nothing waits for it here)"]


def test_a_tube_that_came_out_was_wrong(account, story):
    story.hears(5, "it popped out", "came out").learned(5.4, "tube", "out", "spoken")
    assert [f.text for f in account(story).wrong] == ["the tube is out"]


def test_a_suction_pass_begins_with_its_first_tone(account, story):
    story.at(10, "pace", what="suction", per_minute=60, count=5)
    for n in range(5):
        story.at(16 + n, "beat", what="suction", index=n)  # the prompt before it took six seconds
    story.moved(21, "suction", "passed", "timed")
    story.at(40, "pace", what="suction", per_minute=60, count=5).moved(
        41, "suction", "change", "spoken"
    )
    assert [(s.from_s, s.to_s) for s in account(story).measures.suction] == [(16, 21)]


def test_what_became_of_each_prompt(account, story):
    story.at(1, "say", cue=1, text="One.", role="care", step="a").at(1.1, "prompt started", cue=1)
    story.at(2, "say", cue=2, text="Two.", role="call", step="a").at(5, "prompt started", cue=2)
    story.at(6, "prompt ended", cue=2, cut=True).at(
        7, "say", cue=3, text="Three.", role="care", step="a"
    )
    incident = account(story)
    assert [(p.text, p.spoken_s, p.is_cut) for p in incident.prompts] == [
        ("One.", 1.1, False),
        ("Two.", 5, True),
        ("Three.", None, False),
    ]
    details = [e.detail for e in incident.entries if e.kind == "say"]
    assert details == [
        "care; a",
        "call; a; spoken 3.0 s later; cut short",
        "care; a; not spoken: out of date by then",
    ]
    assert (incident.measures.call_asked_s, incident.measures.call_spoken_s) == (2, 5)


def test_breaths_are_no_longer_the_caregivers_after_handing_over(account, story):
    story.learned(1, "breathing", "no", "spoken").paced(5, "breaths", 20, 3)
    story.learned(14, "outcome", "handed over", "spoken").at(90, "closed", outcome="handed over")
    incident = account(story)
    # breaths at 5, 8 and 11 s; handed over at 14 s: 5 s before the first, not 79 after the last
    assert incident.measures.longest_without_breath.length_s == 5
    assert incident.measures.longest_pause.length_s == 3


def test_no_breath_is_counted_in_a_gap_of_which_nothing_is_known(account, story):
    """20 a minute from second 10; the last event before the stop at 40, gone on at 100: by hand, 11
    breaths until 40 (10, 13 … 40) and 7 from 101 on (101 … 119), 61 s apart."""
    story.at(10, "pace", cue=90, what="breaths", per_minute=20.0, count=None)
    story.at(40, "speech started", at_ms=40_000)
    story.at(100, "resumed", gap_ms=60_000)
    story.at(101, "pace", cue=91, what="breaths", per_minute=20.0, count=None)
    incident = account(story.at(120, "closed", outcome="open"))
    measures = incident.measures
    assert len([t for t in measures.breaths_s if t <= 40]) == 11
    assert len([t for t in measures.breaths_s if t > 40]) == 7
    assert measures.longest_pause.length_s == 61
    told = next(entry for entry in incident.entries if entry.kind == "resumed")
    assert "60 s" in told.text and not told.minor
