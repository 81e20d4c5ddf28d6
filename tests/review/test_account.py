"""The ten lines and the limits, against the published figures and the brief."""

import pytest

from prompter.journal import read
from prompter.review.account import clock, refill, seconds, ten_lines, time_rows
from prompter.review.incident import build


def rows(incident):
    return {row.name: row for row in time_rows(incident)}


def test_ten_lines_in_the_order_of_reading(incident):
    lines = {line.term: f"{line.lead} {line.text}".strip() for line in ten_lines(incident)}
    assert len(lines) == 10
    assert lines["How it ended"].startswith("Handed over to the paramedics, after 5 min.")
    assert "breathing better (3:25, spoken)" in lines["How it ended"]
    assert lines["Longest time without a paced breath"].startswith("1 min 33 s, from 0:00 to 1:33.")
    assert (
        lines["The call"] == "Asked for at 0:30; on speaker at 1:41. The prompt was heard at 0:32."
    )
    assert lines["The tube"].startswith("Out at 0:52; after that proven open at 1:30.")
    assert lines["Lowest numbers"] == "Oxygen 84 % at 2:00. Heart rate 138 at 3:24."
    assert lines["What is uncertain"].startswith("1 step assumed (1:24).")


def test_limits_stand_beside_the_times_with_their_source(incident):
    found = rows(incident)
    # CLINICAL section 10, common practice: 45 s without a tube
    assert (found["First breath paced"].limit, found["First breath paced"].verdict) == (
        "45 s from the tube out (0:52)",
        "within",
    )
    assert found["From tube out to the next breath"].limit == "45 s"
    # alone: 30 s, and 5 s for the prompt
    assert (found["Call asked for, aloud"].limit, found["Call asked for, aloud"].verdict) == (
        "35 s",
        "within",
    )
    # AARC guideline 2022: no pass longer than 15 s
    assert (found["Suction pass 1 (0:13)"].limit, found["Suction pass 1 (0:13)"].verdict) == (
        "15 s",
        "within",
    )
    assert "Blakeman" in found["Suction pass 1 (0:13)"].source
    # AHA 2020, Topjian: child 20 to 30 a minute
    assert found["Breaths paced"].limit == "20 to 30 a minute (infant, child)"
    assert "Topjian" in found["Breaths paced"].source
    assert all(row.source for row in found.values() if row.verdict)


@pytest.mark.parametrize(
    ("age", "rate", "verdict"),
    # Topjian et al. 2020: 20 to 30; Panchal et al. 2020: 10 a minute for an adult
    [
        ("child", 20, "within"),
        ("infant", 30, "within"),
        ("child", 12, "under"),
        ("child", 40, "over"),
        ("adult", 10, "within"),
        ("adult", 20, "over"),
    ],
)
def test_the_rate_of_breaths_by_age(sample, tmp_path, age, rate, verdict):
    opened = sample.opened()
    opened["plan_text"] = str(opened["plan_text"]).replace("age_group: child", f"age_group: {age}")
    story = (
        sample.Story()
        .at(0, "opened", **opened)
        .at(0, "started")
        .paced(10, "breaths", rate, 6)
        .at(60, "closed", outcome="better")
    )
    row = rows(build(read(story.write(tmp_path / "a.jsonl")), "a"))["Breaths paced"]
    assert row.verdict == verdict


@pytest.mark.parametrize(("pause_s", "verdict"), [(29, "within"), (45, ""), (61, "over")])
def test_a_pause_between_the_limits_has_no_verdict(sample, tmp_path, pause_s, verdict):
    story = sample.Story().at(0, "opened", **sample.opened()).at(0, "started")
    for t_s in (10, 10 + pause_s):
        story.at(t_s, "beat", what="breaths", index=0)
    story.at(12 + pause_s, "closed", outcome="open")
    incident = build(read(story.write(tmp_path / "a.jsonl")), "a")
    assert rows(incident)["Longest pause once breaths had begun"].verdict == verdict


@pytest.mark.parametrize(
    ("value", "long", "short"),
    [
        (0, "0 s", "0:00"),
        (7.46, "7.5 s", "0:07"),
        (59.6, "1 min", "1:00"),
        (83.4, "1 min 23 s", "1:23"),
        (-0.4, "-0.4 s", "0:00"),
    ],
)
def test_times_are_written_for_people(value, long, short):
    assert seconds(value) == long
    assert clock(value) == short


ROUTES = [
    # steps on the way with their seconds, what else, the first breath; the limit and verdict: CLINICAL section 10, common practice
    ([(4, "suction"), (14, "passed"), (20, "bag")], [], 40, "45 s", "within"),
    ([(4, "suction"), (14, "passed"), (20, "bag")], [], 50, "45 s", "over"),
    ([(4, "valve-off"), (8, "suction"), (30, "bag")], [], 50, "60 s", "within"),
    ([(4, "inner-out"), (8, "suction"), (30, "bag")], [], 61, "60 s", "over"),
    ([(4, "vent-off")], [], 19, "20 s", "within"),
    ([(4, "vent-off")], [], 40, "20 s", "over"),
    ([(4, "valve-off"), (20, "hold-tube")], [], 79, "60 s from the change's beginning (0:20)", "within"),
    ([(4, "valve-off"), (20, "hold-tube"), (50, "tube-in")], [50], 96, "45 s from the tube out (0:50)", "over"),
    ([(4, "put-back")], [4], 45, "45 s from the tube out (0:04)", "within"),
]


@pytest.mark.parametrize(("steps", "out", "breath_s", "limit", "verdict"), ROUTES)
def test_the_first_breath_has_the_limit_of_the_way_that_was_taken(sample, tmp_path, steps, out, breath_s, limit, verdict):
    story = sample.Story().at(-0.4, "opened", **sample.opened(False)).at(0, "started", at_ms=0)
    for (at_s, step), before in zip(steps, ["tube-check", *[s for _, s in steps]], strict=False):
        story.moved(at_s, before, step, "spoken", "in place")
    for at_s in out:
        story.learned(at_s, "tube", "out", "spoken")
    story.paced(breath_s, "breaths", 20, 3).at(120, "closed", outcome="better")
    row = rows(build(read(story.write(tmp_path / "a.jsonl")), "a"))["First breath paced"]
    assert (row.limit, row.verdict) == (limit, verdict) and "common practice" in row.source


def test_no_breaths_has_its_own_fifteen_seconds(sample, tmp_path):
    story = sample.Story().at(-0.4, "opened", **sample.opened(False)).at(0, "started", at_ms=0)
    story.moved(30, "tube-check", "no-breaths", "spoken", "not breathing")
    story.paced(44, "breaths", 20, 2).at(120, "closed", outcome="better")
    found = rows(build(read(story.write(tmp_path / "a.jsonl")), "a"))
    row = found["From “no breaths” (0:30) to the next breath"]
    assert (row.found, row.limit, row.verdict) == ("14 s", "15 s", "within")
    assert found["First breath paced"].verdict == ""


def talked(sample, *, trouble: bool = False):
    """Closed, and talked over afterwards; `trouble`: it got worse during that."""
    story = sample.Story().at(-0.4, "opened", **sample.opened(False)).at(0, "started", at_ms=0)
    story.learned(20, "breathing", "better", "spoken").moved(20, "look", "watch", "spoken", "better")
    story.learned(20, "outcome", "better", "spoken")
    story.hears(100, "close it now", "close it").moved(100.3, "closing", "debrief", "spoken", "close it")
    story.hears(105, "still fine", "still fine").moved(105.3, "debrief", "debrief-bag", "spoken", "still fine")
    story.hears(115, "two catheters and the last saline", "", 0.1, believed=False)
    if trouble:
        story.hears(120, "getting worse", "worse").moved(120.3, "debrief-bag", "suction", "spoken", "worse")
        story.learned(120.3, "breathing", "trouble", "spoken").learned(120.3, "outcome", "open", "spoken")
        return story.at(200, "closed", outcome="open")
    story.moved(135, "debrief-bag", "debrief-phone", "assumed").moved(155, "debrief-phone", "debrief-end", "assumed")
    return story.moved(160, "debrief-end", "closed", "timed").at(160, "closed", outcome="better")


def test_what_was_said_afterwards_stands_in_the_account_as_answers(sample, tmp_path):
    incident = build(read(talked(sample).write(tmp_path / "a.jsonl")), "a")
    assert [(f.text, f.how) for f in incident.afterwards or []] == [
        ("How the patient is: “still fine”", "spoken"),
        ("What was used up and the bag: not answered", "unknown"),
        ("The clinician was phoned: not answered", "unknown"),
    ]
    assert [f.text for f in incident.notes] == ["“two catheters and the last saline”"]
    assert "Said when asked what was used: “two catheters and the last saline”" in refill(incident)
    assert incident.duration_s == 100.3, "the talk is not the emergency"
    assert incident.assumed == [], "nobody's care was assumed"


def test_trouble_afterwards_is_the_same_emergency(sample, tmp_path):
    incident = build(read(talked(sample, trouble=True).write(tmp_path / "a.jsonl")), "a")
    assert incident.afterwards is None and incident.duration_s == 200
    assert incident.outcome == "open"


def test_without_names_the_notes_have_no_words(sample, tmp_path):
    incident = build(read(talked(sample).write(tmp_path / "a.jsonl")), "a", anonymous=True)
    assert [f.text for f in incident.notes] == ["words left out"]
    assert "saline" not in " ".join([*refill(incident), *(f.text for f in incident.notes)])


def test_refill_names_what_was_used(incident):
    text = " ".join(refill(incident))
    assert "Suction catheters: 1 pass" in text
    assert "last with a spare of the same size (4.5 mm inside)" in text


def test_a_journal_of_one_event_has_an_account_too(sample, tmp_path):
    incident = build(read(sample.Story().at(0, "opened").write(tmp_path / "a.jsonl")), "a")
    assert len(ten_lines(incident)) == 10
    assert "no readable plan" in incident.plan.plan_line
