"""Keeps the emergency from waiting for the disk: a thread writes, and a failing disk stops nothing.

Threads: `append` and `trouble` may be called from any thread and wait at most JOURNAL_WAIT_MS; one
thread of our own writes, may block on the disk, and calls the two callbacks.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from prompter import limits
from prompter.errors import CannotDo
from prompter.journal.disk import FileDisk
from prompter.journal.store import Journal, MakeDisk


@dataclass(slots=True)
class _Held:
    """A line on its way to the disk."""

    seq: int
    line: bytes
    since_s: float
    safe: threading.Event = field(default_factory=threading.Event)
    late: bool = False


class BackgroundWriter:
    """Writes `journal` in the background, in order, one flush an event; owns and closes it.

    second_folder: where the whole journal is written anew when its own disk fails. on_late(seq,
    waited_ms): an event reached the disk after its caller had stopped waiting. on_trouble(text):
    trouble began or changed; an empty text says it is over.
    """

    def __init__(
        self,
        journal: Journal,
        second_folder: Path | None = None,
        on_late: Callable[[int, int], None] | None = None,
        on_trouble: Callable[[str], None] | None = None,
        disk: MakeDisk = FileDisk,
        retry_s: float = limits.JOURNAL_RETRY_S,
        held_max: int = limits.JOURNAL_HELD_MAX,
    ) -> None:
        self._journal = journal
        self._second_folder, self._disk = second_folder, disk
        self._on_late, self._on_trouble = on_late, on_trouble
        self._retry_s, self._held_max = retry_s, held_max
        self._held: deque[_Held] = deque()
        self._lost = 0
        self._failing = ""
        self._closing = False
        self._give_up_s = float("inf")
        self._change = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True)
        self._thread.start()

    @property
    def path(self) -> Path:
        """Where the journal is now; another folder than at first if its disk failed."""
        return self._journal.path

    def append(
        self,
        record: dict[str, Any],
        at: datetime,
        mono_ms: int,
        wait_ms: int = limits.JOURNAL_WAIT_MS,
    ) -> bool:
        """Hands over one event. True: the disk has it. False: it is on its way, or see `trouble`.

        Never raises for what the event holds or the disk does: an event that is not JSON is journalled
        as a fault with its text, since an emergency goes on whatever a bug brings.
        """
        with self._change:
            if self._closing or len(self._held) >= self._held_max:
                self._lost += 1
                return False
            if self._lost and not self._failing:
                self._say_lost(at, mono_ms)
            held = self._hold(record, at, mono_ms)
            waits = wait_ms > 0
            wait_ms = 0 if self._failing else wait_ms
        if wait_ms and held.safe.wait(wait_ms / 1000):
            return True
        with self._change:
            safe = held.safe.is_set()
            held.late = waits and not safe  # whom nobody waited for is not late
            return safe

    def waiting(self) -> int:
        """How many events the disk does not have yet."""
        with self._change:
            return len(self._held)

    def trouble(self) -> str:
        """What is wrong with the disk, one line for people; empty if nothing is."""
        with self._change:
            waited_s = time.monotonic() - self._held[0].since_s if self._held else 0.0
            if self._failing:
                return (
                    f"{self._failing} {len(self._held)} events are kept in memory."
                    + self._lost_text()
                )
            if waited_s > limits.JOURNAL_STALL_S:
                return (
                    f"The journal's disk has not answered for {waited_s:.0f} seconds."
                    + self._lost_text()
                )
            return self._lost_text().strip()

    def close(self, wait_s: float = limits.JOURNAL_CLOSE_S) -> int:
        """Waits for what is held, closes, and returns how many events did not reach the disk."""
        with self._change:
            self._closing = True
            self._give_up_s = time.monotonic() + wait_s
            self._change.notify_all()
        self._thread.join(wait_s + self._retry_s)
        if not self._thread.is_alive():
            self._journal.close()
        return len(self._held) + self._lost

    def _hold(self, record: dict[str, Any], at: datetime, mono_ms: int) -> _Held:
        chain = self._journal.chain
        try:
            line = chain.next_line(record, at, mono_ms)
        except CannotDo as error:
            fault = {
                "kind": "fault",
                "part": "journal",
                "detail": error.what,
                "event": ascii(record),
            }
            line = chain.next_line(fault, at, mono_ms)
        held = _Held(chain.seq, line, time.monotonic())
        self._held.append(held)
        self._change.notify_all()
        return held

    def _say_lost(self, at: datetime, mono_ms: int) -> None:
        detail = f"{self._lost} events could not be kept while the disk failed"
        self._lost = 0
        self._hold({"kind": "fault", "part": "journal", "detail": detail}, at, mono_ms)

    def _lost_text(self) -> str:
        return f" {self._lost} events could not be kept." if self._lost else ""

    def _work(self) -> None:
        while True:
            with self._change:
                while not self._held and not self._closing:
                    self._change.wait()
                if not self._held or time.monotonic() >= self._give_up_s:
                    return
                held = self._held[0]
            try:
                self._journal.commit(held.line)
            except OSError as error:
                self._failed(error)
                continue
            self._reached_disk(held)

    def _reached_disk(self, held: _Held) -> None:
        with self._change:
            self._held.popleft()
            held.safe.set()
            waited_ms = round((time.monotonic() - held.since_s) * 1000)
            late = held.late
            over = bool(self._failing)
            self._failing = ""
        if over:
            self._tell(self._on_trouble, "")
        if late:
            self._tell(self._on_late, held.seq, waited_ms)

    def _failed(self, error: OSError) -> None:
        text = f"The journal's disk fails ({error.strerror or error})."
        with self._change:
            again = bool(self._failing)
            told = self._failing == text
            self._failing = text
        if not told:
            self._tell(self._on_trouble, text)
        if again and self._second_folder and self._move():
            return
        with self._change:
            if not self._closing:
                self._change.wait(self._retry_s)
            else:  # no hurry in a loop: the disk has until the time to give up
                time.sleep(min(self._retry_s, 0.05))

    def _move(self) -> bool:
        """Writes everything so far into the second folder and goes on there. False: it fails as well."""
        old = self._journal
        folder, self._second_folder = self._second_folder, None
        path = folder / old.path.name
        try:
            new = Journal.create_with(path, old.lines, old.chain, self._disk, old.sealer)
        except CannotDo as error:
            self._second_folder = folder
            self._tell(self._on_trouble, error.one_line())
            return False
        self._journal = new
        old.close()
        return True

    def _tell(self, callback: Callable[..., None] | None, *what: Any) -> None:
        if callback is None:
            return
        try:
            callback(*what)
        except Exception:  # a listener's bug must not end the journal
            pass
