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
    # CLINICAL section 10, common practice: 60 s to the first breath with things on the tube, 45 s without a tube
    assert (found["First breath paced"].limit, found["First breath paced"].verdict) == (
        "60 s",
        "over",
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


def test_refill_names_what_was_used(incident):
    text = " ".join(refill(incident))
    assert "Suction catheters: 1 pass" in text
    assert "tube of the same size went in" in text


def test_a_journal_of_one_event_has_an_account_too(sample, tmp_path):
    incident = build(read(sample.Story().at(0, "opened").write(tmp_path / "a.jsonl")), "a")
    assert len(ten_lines(incident)) == 10
    assert "no readable plan" in incident.plan.plan_line
