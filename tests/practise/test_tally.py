"""What counts as a wrong branch, against cases worked by hand."""

import numpy as np

from prompter.events import Answered, Moved, Numbered
from prompter.flow.memory import Memory
from prompter.flow.table import Table
from prompter.practise.caregiver import Utterance
from prompter.practise.tally import Tally


def said(tally: Tally, answer: str | None, words: str, step: str, heard: str | None, heard_answer: str | None, believed: bool):
    tally.utterance(Utterance(1000, np.zeros(16_000, np.float32), words, answer, step), 1900)
    return tally.heard({
        "onset_ms": 1020, "ended_ms": 1890, "heard": heard, "answer": heard_answer, "believed": believed,
        "score": 3.0, "number": None,
    })  # fmt: skip


def judge(table: Table, spoken: str | None, understood: str, step: str, target: str) -> int:
    tally = Tally(table)
    one = said(tally, spoken, "…", step, understood, understood, True)
    tally.judge_answer(Answered(2000, understood, understood), one, Memory(), [Moved(2000, "care", step, target, "spoken", understood)])
    return tally.wrong_branches


def test_the_right_answer_is_no_wrong_branch(demo_table: Table) -> None:
    assert judge(demo_table, "passed", "passed", "passed", "look") == 0


def test_the_opposite_answer_is_one(demo_table: Table) -> None:
    assert judge(demo_table, "passed", "won't pass", "passed", "hold-tube") == 1


def test_another_answer_that_leads_to_the_same_place_is_none(demo_table: Table) -> None:
    assert judge(demo_table, "moving", "rising", "look", "lips") == 0


def test_talk_taken_for_an_answer_is_one(demo_table: Table) -> None:
    assert judge(demo_table, None, "came out", "tube-check", "put-back") == 1


def test_a_noise_taken_for_an_answer_is_one(demo_table: Table) -> None:
    tally = Tally(demo_table)
    tally.judge_answer(Answered(2000, "came out", "it came out"), None, Memory(), [Moved(2000, "care", "tube-check", "put-back", "spoken")])
    assert tally.wrong_branches == 1


def test_an_answer_taken_for_news_of_the_call_is_one(demo_table: Table) -> None:
    tally = Tally(demo_table)
    one = said(tally, "paramedics", "crew has arrived", "pushes", "on the line", "on speaker", True)
    cues = [Moved(2000, "call", "asked", "on speaker", "spoken")]
    tally.judge_answer(Answered(2000, "on speaker", "on the line"), one, Memory(), cues)
    assert tally.wrong_branches == 1


def test_assuming_against_what_was_said_is_one_and_else_none(demo_table: Table) -> None:
    for answer, target, wrong in (("came out", "valve-off", 1), ("in place", "valve-off", 0), (None, "valve-off", 0)):
        tally = Tally(demo_table)
        said(tally, answer, "…", "tube-check", None, None, False)
        tally.judge_assumed(Moved(9000, "care", "tube-check", target, "assumed"), Memory(), 0)
        assert tally.wrong_branches == wrong, answer


def test_what_was_heard_is_matched_by_its_time(demo_table: Table) -> None:
    tally = Tally(demo_table)
    tally.utterance(Utterance(1000, np.zeros(16_000, np.float32), "a", "done", "ties"), 1900)
    record = {"onset_ms": 5000, "ended_ms": 5900, "heard": "x", "answer": "done", "believed": True, "score": 1.0, "number": None}
    assert tally.heard(record) is None
    assert tally.heard({**record, "onset_ms": 1100, "ended_ms": 1850}) is tally.said[0]


def test_a_number_taken_for_another_is_one_where_it_moves_the_flow(demo_table: Table) -> None:
    moved = [Moved(2000, "care", "number", "number-back", "spoken")]
    for spoken, cues, wrong in ((94, moved, 1), (84, moved, 0), (94, [], 0)):
        tally = Tally(demo_table)
        one = said(tally, f"number {spoken}", f"{spoken} percent", "number", "spo2 84", "number 84", True)
        tally.judge_answer(Numbered(2000, "spo2", 84), one, Memory(), cues)
        assert tally.wrong_branches == wrong
