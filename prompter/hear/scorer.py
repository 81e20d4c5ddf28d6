"""Runs the ears' work: at once for the virtual clock, or beside the sound for live use."""

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from prompter import limits


@dataclass(frozen=True, slots=True)
class Result:
    """What a job gave. `due_ms`: the session time at which it is known."""

    ticket: int
    value: Any
    due_ms: int
    compute_ms: int


class Scorer(Protocol):
    """Takes work, gives results back when they are known. Tickets are the caller's."""

    def submit(self, ticket: int, work: Callable[[], Any], at_ms: int) -> None: ...
    def results(self, at_ms: int) -> list[Result]: ...
    def drop(self, ticket: int) -> None: ...
    def trouble(self) -> list[str]: ...


class InlineScorer:
    """For the virtual clock: computes inside `submit`; the result is due when it would have been.

    `compute_ms` fixes the computing time (the same run every time); None takes the real one. One
    job at a time, as with the live scorer: a job waits for the one before it unless that was
    dropped while waiting. No threads; `submit` blocks for the real computing time.
    """

    def __init__(self, compute_ms: int | None = None) -> None:
        self._fixed_ms = compute_ms
        self._busy_until_ms = 0
        self._waiting: list[Result] = []
        self._trouble: list[str] = []
        self.dropped = 0

    def submit(self, ticket: int, work: Callable[[], Any], at_ms: int) -> None:
        began = time.perf_counter()
        value = _run(work, self._trouble)
        spent = round((time.perf_counter() - began) * 1000)
        spent = spent if self._fixed_ms is None else self._fixed_ms
        self._busy_until_ms = max(at_ms, self._busy_until_ms) + spent
        self._waiting.append(Result(ticket, value, self._busy_until_ms, spent))

    def results(self, at_ms: int) -> list[Result]:
        due = [r for r in self._waiting if r.due_ms <= at_ms]
        self._waiting = [r for r in self._waiting if r.due_ms > at_ms]
        return due

    def drop(self, ticket: int) -> None:
        kept = [r for r in self._waiting if r.ticket != ticket]
        self.dropped += len(self._waiting) - len(kept)
        self._waiting = kept

    def trouble(self) -> list[str]:
        found, self._trouble = self._trouble, []
        return found


def _run(work: Callable[[], Any], trouble: list[str]) -> Any:
    """Do the work; an exception becomes trouble and no value: listening must go on."""
    try:
        return work()
    except Exception as error:  # noqa: BLE001 - whatever a recogniser raises
        trouble.append(f"{type(error).__name__}: {error}")
        return None
