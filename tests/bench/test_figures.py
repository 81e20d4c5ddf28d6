"""The table's arithmetic on rows made up for it."""

from typing import Any

from figures import curve, lines, mistakes, quartiles
from hearing_rows import outcome


def heard(answer: str, spare: float | None, believed: bool) -> dict[str, Any]:
    return {"answer": answer, "spare": spare, "believed": believed, "window": 400, "decide_ms": 60}


def row(group: str, right: str | None, *entries: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "group": group, "number": 0, "said": "x", "right": right, "heard": list(entries),
        "outcome": outcome(list(entries), right), "swapped": False, "early": False,
    } | more  # fmt: skip


def test_what_came_of_an_utterance() -> None:
    flat, rising = heard("flat", 1.0, True), heard("rising", 1.0, True)
    unsure = heard("flat", -1.0, False)
    assert outcome([flat], "flat") == "right"
    assert outcome([flat, rising], "flat") == "wrong"
    assert outcome([unsure], "flat") == "asked again"
    assert outcome([], "flat") == "not heard"
    assert outcome([flat], None) == "taken"
    assert outcome([unsure], None) == "refused"


def test_aims_are_held_up_to_their_limit() -> None:
    good = [row("flow: clean", "a", heard("a", 1.0, True)) for _ in range(99)]
    again = row("flow: clean", "a", heard("a", -1.0, False))
    line = next(x for x in lines([*good, again]) if x.condition == "clean" and x.figure == "flow")
    assert (line.n, line.value, line.held) == (100, "99.0%", True)
    line = next(x for x in lines([*good[1:], again, again]) if x.figure == "flow")
    assert line.held is False


def test_one_wrong_answer_to_a_clean_word_misses() -> None:
    rows = [row("people: clean", "yes", heard("yes", 1.0, True)) for _ in range(999)]
    rows.append(row("people: clean", "no", heard("yes", 1.0, True)))
    assert next(x for x in lines(rows) if x.figure == "people").held is False


def test_nothing_measured_is_neither_held_nor_missed() -> None:
    assert {line.held for line in lines([])} == {None}


def test_talk_is_counted_an_hour() -> None:
    piece = row("talk: others at home", None, heard("a", 1.0, True), seconds=60, lines=["x y"] * 3)
    quiet = row("talk: others at home", None, seconds=60, lines=["x z"])
    line = next(x for x in lines([piece, *[quiet] * 29]) if x.figure == "talk")
    assert line.value == "2.0 an hour"
    assert "(2 different), 64 words" in line.condition
    assert line.held is False


def test_the_curve_trades_right_for_wrong() -> None:
    rows = [
        row("flow: clean", "a", heard("a", 2.0, True)),
        row("flow: clean", "a", heard("a", -0.5, False)),
        row("flow: clean", "a", heard("b", 0.4, True)),
        row("flow: clean", "a", heard("b", None, False)),
    ]
    found = [(p["right"], p["wrong"]) for p in curve(rows, (-1.0, 0.0, 0.5))]
    assert found == [(2, 1), (1, 1), (1, 0)]
    assert [m["answer"] for m in mistakes(rows)] == ["b"]


def test_the_row_of_memory_is_no_mistake() -> None:
    size = {"group": "memory: one ear", "number": 0, "before_mb": 50, "ready_mb": 280}
    rows = [size | {"memory_mb": 401}]
    assert mistakes(rows) == []
    assert next(x for x in lines(rows) if x.figure == "memory").held is False


def test_quartiles_of_one_to_hundred() -> None:
    assert quartiles(list(range(1, 101))) == {"p50": 50, "p95": 95}
    assert quartiles([]) == {"p50": 0, "p95": 0}
