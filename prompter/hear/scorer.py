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

    def wanted(self, ticket: int) -> bool:
        """For the work itself, between its parts: whether its result may still be wanted."""
        ...

    def hung(self) -> int | None:
        """The ticket of a job that has taken far too long and is given up; told once."""
        ...

    def trouble(self) -> list[str]: ...


class InlineScorer:
    """For the virtual clock: computes inside `submit`; the result is due when it would have been.

    `compute_ms` fixes the computing time (the same run every time); None takes the real one. One
    job at a time, as with the live scorer: a job waits for the one before it unless that was
    dropped while waiting, and one that is dropped ends where it next asks whether it is `wanted`.
    `hangs_ms`: a job that would take longer is given up then; None: it may take as long as it does.
    No threads; `submit` blocks for the real computing time.
    """

    def __init__(self, compute_ms: int | None = None, hangs_ms: int | None = None) -> None:
        self._fixed_ms = compute_ms
        self._hangs_ms = hangs_ms
        self._now_ms = self._busy_until_ms = 0
        self._began_s = 0.0
        self._parts_ms: list[int] = []  # computing until the job that runs asked, each time
        self._last: tuple[int, int, list[int]] | None = None  # ticket, began, parts
        self._waiting: list[Result] = []
        self._hung: list[tuple[int, int]] = []  # due, ticket
        self._trouble: list[str] = []
        self.dropped = 0

    def submit(self, ticket: int, work: Callable[[], Any], at_ms: int) -> None:
        self._began_s, self._parts_ms = time.perf_counter(), []
        value = _run(work, self._trouble)
        spent = self._spent_ms() if self._fixed_ms is None else self._fixed_ms
        begins_ms = max(at_ms, self._busy_until_ms)
        parts = self._parts_ms if self._fixed_ms is None else []
        self._last = ticket, begins_ms, parts
        if self._hangs_ms is not None and spent > self._hangs_ms:
            self._busy_until_ms = begins_ms + self._hangs_ms
            self._hung.append((self._busy_until_ms, ticket))
            return
        self._busy_until_ms = begins_ms + spent
        self._waiting.append(Result(ticket, value, self._busy_until_ms, spent))

    def _spent_ms(self) -> int:
        return round((time.perf_counter() - self._began_s) * 1000)

    def results(self, at_ms: int) -> list[Result]:
        self._now_ms = at_ms
        due = [r for r in self._waiting if r.due_ms <= at_ms]
        self._waiting = [r for r in self._waiting if r.due_ms > at_ms]
        return due

    def wanted(self, ticket: int) -> bool:
        """Always: what is dropped later is taken off then."""
        self._parts_ms.append(self._spent_ms())
        return True

    def drop(self, ticket: int) -> None:
        kept = [r for r in self._waiting if r.ticket != ticket]
        if len(kept) < len(self._waiting) and self._last is not None and self._last[0] == ticket:
            _, begins_ms, parts = self._last
            ends = [begins_ms + part for part in parts if begins_ms + part >= self._now_ms]
            if begins_ms > self._now_ms:  # it had not begun
                ends.append(begins_ms)
            self._busy_until_ms = min([*ends, self._busy_until_ms])
        self.dropped += len(self._waiting) - len(kept)
        self._waiting = kept

    def hung(self) -> int | None:
        if not self._hung or self._hung[0][0] > self._now_ms:
            return None
        return self._hung.pop(0)[1]

    def trouble(self) -> list[str]:
        found, self._trouble = self._trouble, []
        return found


class ThreadScorer:
    """For live use: one daemon thread works, the caller never waits.

    Threads: `submit`, `results`, `drop`, `hung` and `trouble` belong to the caller's; only
    `_work`, and `wanted` that the jobs ask, run on the worker's. At most `limits.SCORER_QUEUE` jobs
    wait; stale ones are dropped and counted, one that runs learns it from `wanted`. A job that runs
    longer than `hangs_s` is given up with its thread, and a new thread goes on with the next.
    """

    def __init__(self, hangs_s: float = limits.EAR_HANGS_S) -> None:
        self._hangs_s = hangs_s
        self._lock = threading.Lock()
        self._stale: set[int] = set()
        self._done: list[tuple[int, Any, int]] = []
        self._trouble: list[str] = []
        self.dropped = 0
        self._start()

    def _start(self) -> None:
        self._jobs: queue.Queue[tuple[int, Callable[[], Any]] | None] = queue.Queue(
            limits.SCORER_QUEUE
        )
        self._running: tuple[int, float] | None = None
        self._thread = threading.Thread(
            target=self._work, args=(self._jobs,), name="ears", daemon=True
        )
        self._thread.start()

    def submit(self, ticket: int, work: Callable[[], Any], at_ms: int) -> None:
        while True:
            try:
                return self._jobs.put_nowait((ticket, work))
            except queue.Full:
                self._drop_oldest()

    def _drop_oldest(self) -> None:
        try:
            oldest = self._jobs.get_nowait()
        except queue.Empty:
            return
        if oldest is not None:
            with self._lock:
                self._stale.discard(oldest[0])
                self.dropped += 1
                self._trouble.append("the ears are too slow: an utterance was not scored")
                self._done.append((oldest[0], None, 0))

    def results(self, at_ms: int) -> list[Result]:
        with self._lock:
            done, self._done = self._done, []
        return [Result(ticket, value, at_ms, spent) for ticket, value, spent in done]

    def drop(self, ticket: int) -> None:
        with self._lock:
            self._stale.add(ticket)

    def wanted(self, ticket: int) -> bool:
        with self._lock:
            return ticket not in self._stale

    def hung(self) -> int | None:
        running = self._running
        if running is None or time.monotonic() - running[1] < self._hangs_s:
            return None
        waiting = self._jobs
        self._start()
        while True:  # what waited behind it is still wanted
            try:
                job = waiting.get_nowait()
            except queue.Empty:
                break
            if job is not None:
                self.submit(*job, at_ms=0)
        waiting.put_nowait(None)  # should the thread ever come back, it ends
        return running[0]

    def trouble(self) -> list[str]:
        with self._lock:
            found, self._trouble = self._trouble, []
        return found

    def _work(self, jobs: "queue.Queue[tuple[int, Callable[[], Any]] | None]") -> None:
        while (job := jobs.get()) is not None:
            ticket, work = job
            with self._lock:
                if ticket in self._stale:
                    self._stale.discard(ticket)
                    self.dropped += 1
                    continue
            began = time.monotonic()
            if jobs is self._jobs:
                self._running = (ticket, began)
            trouble: list[str] = []
            value = _run(work, trouble)
            spent_ms = round((time.monotonic() - began) * 1000)
            with self._lock:
                if jobs is not self._jobs:  # given up meanwhile
                    continue
                self._running = None
                self._stale.discard(ticket)
                self._trouble += trouble
                self._done.append((ticket, value, spent_ms))


def _run(work: Callable[[], Any], trouble: list[str]) -> Any:
    """Do the work; an exception becomes trouble and no value: listening must go on."""
    try:
        return work()
    except Exception as error:  # noqa: BLE001 - whatever a recogniser raises
        trouble.append(f"{type(error).__name__}: {error}")
        return None
