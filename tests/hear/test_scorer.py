"""Both forms of the scorer: the virtual clock's and the live one."""

import threading
import time
from collections.abc import Callable

import pytest

from prompter import limits
from prompter.hear.scorer import InlineScorer, Result, ThreadScorer


def until(found: Callable[[], object]) -> object:
    """Wait for something that another thread brings; fails after 5 s."""
    for _ in range(500):
        if value := found():
            return value
        time.sleep(0.01)
    raise AssertionError("it did not come")


def test_inline_gives_a_result_when_it_is_due_and_once() -> None:
    scorer = InlineScorer(100)
    scorer.submit(1, lambda: "a", at_ms=1000)
    assert scorer.results(1099) == []
    assert scorer.results(1120) == [Result(1, "a", due_ms=1100, compute_ms=100)]
    assert scorer.results(9999) == []


def test_inline_does_one_job_at_a_time() -> None:
    scorer = InlineScorer(100)
    scorer.submit(1, lambda: "a", at_ms=0)
    scorer.submit(2, lambda: "b", at_ms=30)
    assert [r.due_ms for r in scorer.results(1000)] == [100, 200]


def test_inline_takes_the_real_time_when_none_is_fixed() -> None:
    scorer = InlineScorer()
    scorer.submit(1, lambda: time.sleep(0.03), at_ms=0)
    (result,) = scorer.results(60_000)
    assert result.compute_ms >= 30 and result.due_ms == result.compute_ms


def test_inline_drops_and_counts() -> None:
    scorer = InlineScorer(10)
    scorer.submit(1, lambda: "a", at_ms=0)
    scorer.drop(1)
    assert scorer.results(100) == [] and scorer.dropped == 1


def test_inline_gives_up_a_job_that_would_hang_and_goes_on() -> None:
    """As the live scorer does: the next job begins when the first one is given up."""
    scorer = InlineScorer(600, hangs_ms=500)
    scorer.submit(1, lambda: "a", at_ms=0)
    scorer.submit(2, lambda: "b", at_ms=100)
    assert scorer.results(499) == [] and scorer.hung() is None
    assert scorer.results(500) == [] and scorer.hung() == 1 and scorer.hung() is None
    assert scorer.results(999) == [] and scorer.hung() is None
    assert scorer.results(1000) == [] and scorer.hung() == 2


def test_inline_a_dropped_job_ends_where_it_asks_whether_it_is_wanted() -> None:
    scorer = InlineScorer()

    def work(ticket: int) -> str:
        time.sleep(0.02)
        assert scorer.wanted(ticket)
        time.sleep(0.2)
        return "seen"

    scorer.submit(1, lambda: work(1), at_ms=0)
    scorer.results(0)
    scorer.drop(1)
    scorer.submit(2, lambda: "b", at_ms=0)
    (result,) = scorer.results(60_000)
    assert (result.ticket, result.value) == (2, "b")
    assert 20 <= result.due_ms < 200, "the second part of the first job was not waited for"


def test_inline_a_job_dropped_before_its_turn_takes_no_time() -> None:
    scorer = InlineScorer(100)
    scorer.submit(1, lambda: "a", at_ms=0)
    scorer.submit(2, lambda: "b", at_ms=30)
    scorer.results(60)
    scorer.drop(2)
    scorer.submit(3, lambda: "c", at_ms=70)
    assert [(r.value, r.due_ms) for r in scorer.results(1000)] == [("a", 100), ("c", 200)]


def test_inline_a_job_dropped_in_its_last_part_is_waited_for() -> None:
    scorer = InlineScorer()

    def work() -> None:
        scorer.wanted(1)
        time.sleep(0.05)

    scorer.submit(1, work, at_ms=0)
    scorer.results(30)
    scorer.drop(1)
    scorer.submit(2, lambda: "b", at_ms=31)
    (result,) = scorer.results(60_000)
    assert result.due_ms >= 50


def test_thread_tells_a_running_job_that_it_is_not_wanted() -> None:
    scorer, go, told = ThreadScorer(), threading.Event(), []
    begun = threading.Event()

    def work() -> None:
        told.append(scorer.wanted(1))
        begun.set()
        go.wait(5)
        told.append(scorer.wanted(1))

    scorer.submit(1, work, at_ms=0)
    assert begun.wait(5)
    scorer.drop(1)
    go.set()
    until(lambda: len(told) == 2)
    assert told == [True, False]


@pytest.mark.parametrize("scorer", [InlineScorer(0), ThreadScorer()])
def test_an_exception_becomes_trouble_and_an_empty_result(scorer) -> None:
    def fails() -> None:
        raise ValueError("no weights")

    scorer.submit(1, fails, at_ms=0)
    (result,) = until(lambda: scorer.results(10))
    assert result.ticket == 1 and result.value is None
    assert scorer.trouble() == ["ValueError: no weights"]
    assert scorer.trouble() == []


def test_thread_does_not_make_the_caller_wait() -> None:
    scorer, go = ThreadScorer(), threading.Event()
    scorer.submit(1, lambda: go.wait(5) and "a", at_ms=0)
    assert scorer.results(32) == []
    go.set()
    (result,) = until(lambda: scorer.results(64))
    assert (result.value, result.due_ms) == ("a", 64)


def test_thread_skips_a_job_that_became_stale_while_it_waited() -> None:
    scorer, go, ran = ThreadScorer(), threading.Event(), []
    scorer.submit(1, lambda: go.wait(5), at_ms=0)
    scorer.submit(2, lambda: ran.append(2), at_ms=0)
    scorer.submit(3, lambda: ran.append(3) or "c", at_ms=0)
    scorer.drop(2)
    go.set()
    until(lambda: ran)
    until(lambda: any(r.ticket == 3 for r in scorer.results(0)))
    assert ran == [3] and scorer.dropped == 1


def test_thread_keeps_the_newest_when_the_queue_is_full_and_says_so() -> None:
    scorer, go = ThreadScorer(), threading.Event()
    started = threading.Event()
    scorer.submit(0, lambda: started.set() or go.wait(5), at_ms=0)
    assert started.wait(5)
    count = limits.SCORER_QUEUE + 2
    for ticket in range(1, count + 1):
        scorer.submit(ticket, lambda: "done", at_ms=0)
    lost = {r.ticket for r in scorer.results(0)}
    assert lost == {1, 2} and scorer.dropped == 2
    assert len(scorer.trouble()) == 2
    go.set()
    seen: set[int] = set()
    until(lambda: seen.update(r.ticket for r in scorer.results(0)) or count in seen)


def test_thread_gives_up_a_job_that_hangs_and_goes_on() -> None:
    scorer, never = ThreadScorer(hangs_s=0.05), threading.Event()
    scorer.submit(1, lambda: never.wait(5), at_ms=0)
    scorer.submit(2, lambda: "b", at_ms=0)
    assert until(scorer.hung) == 1
    (result,) = until(lambda: scorer.results(0))
    assert (result.ticket, result.value) == (2, "b")
    assert scorer.hung() is None
    never.set()  # the late answer of the abandoned job is not wanted any more
    time.sleep(0.05)
    assert scorer.results(0) == []
