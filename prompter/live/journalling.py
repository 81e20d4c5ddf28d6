"""The live journal: it may begin late, move or fail, and the emergency never waits for it.

Threads: `append` belongs to the runner's; one thread of our own makes the file; the writer has its
own. Until the file is there, events wait in memory in order.
"""

import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from prompter import limits
from prompter.errors import CannotDo
from prompter.journal import BackgroundWriter, Journal
from prompter.journal.line import Chain, digest
from prompter.journal.sealing import Sealer
from prompter.resuming import TakenUp

HEARD_FROM_OUTSIDE = frozenset({"answered", "numbered", "started"})
"""What a prompt waits a moment for, so that a power loss does not lose why it was said."""

Trouble = Callable[[str], None]
"""Is told what is wrong with the disk; an empty text says that it is over. Called on any thread."""


class LiveJournal:
    """`folders`: where to write, the best first; the second is for when the first fails.

    `goes_on`: a journal that is taken up. `on_late` is told the number of an event that a prompt did
    not wait for any longer, and after how many ms the disk had it. `sealer` encrypts it.
    """

    def __init__(
        self,
        folders: list[Path],
        began: datetime,
        opened: Callable[[], dict[str, Any]],
        on_trouble: Trouble,
        goes_on: TakenUp | None = None,
        on_late: Callable[[int, int], None] | None = None,
        sealer: Sealer | None = None,
    ) -> None:
        self._folders, self._began = folders, began
        self._opened, self._on_trouble = opened, on_trouble
        self._goes_on, self._on_late, self._sealer = goes_on, on_late, sealer
        self._lock = threading.Lock()
        self._waiting: list[tuple[dict[str, Any], datetime, int]] = []
        self._writer: BackgroundWriter | None = None
        self._thread = threading.Thread(target=self._begin, name="journal begins", daemon=True)

    def begin(self) -> None:
        """Makes the file in the background."""
        self._thread.start()

    @property
    def path(self) -> Path | None:
        """Where it is written; None while it is not."""
        return self._writer.path if self._writer else None

    def append(self, record: dict[str, Any], at: datetime, mono_ms: int) -> None:
        with self._lock:
            writer = self._writer
            if writer is None:
                if len(self._waiting) < limits.JOURNAL_HELD_MAX:
                    self._waiting.append((record, at, mono_ms))
                return
        wait_ms = limits.JOURNAL_WAIT_MS if record.get("kind") in HEARD_FROM_OUTSIDE else 0
        writer.append(record, at, mono_ms, wait_ms)

    def waiting(self) -> int:
        """How many events the disk does not have yet."""
        with self._lock:
            return self._writer.waiting() if self._writer else len(self._waiting)

    def trouble(self) -> str:
        return self._writer.trouble() if self._writer else ""

    def close(self) -> int:
        """Waits a little for the disk; how many events did not reach it."""
        if self._thread.ident is not None:
            self._thread.join(limits.JOURNAL_CLOSE_S)
        with self._lock:
            return self._writer.close() if self._writer else len(self._waiting)

    def _begin(self) -> None:
        if self._goes_on is not None and self._goes_on.journal is not None:
            journal = self._goes_on.journal
            self._write_in(journal, [f for f in self._folders if f != journal.path.parent])
            return
        first = self._opened()
        for number, folder in enumerate(self._folders):
            try:
                journal = self._create(folder, first)
            except CannotDo as error:
                self._on_trouble(error.one_line())
                continue
            self._write_in(journal, self._folders[number + 1 :])
            if number:
                self._on_trouble(f"The journal is written in {folder}.")
            return

    def _write_in(self, journal: Journal, others: list[Path]) -> None:
        other = next(iter(others), None)
        writer = BackgroundWriter(journal, other, self._on_late, self._on_trouble)
        with self._lock:
            for record, at, mono_ms in self._waiting:
                writer.append(record, at, mono_ms, 0)
            self._waiting.clear()
            self._writer = writer

    def _create(self, folder: Path, first: dict[str, Any]) -> Journal:
        goes_on = self._goes_on
        if goes_on is not None:  # its own disk refuses: the whole of it is written anew
            chain = Chain(len(goes_on.lines), digest(goes_on.lines[-1].rstrip(b"\n")))
            path = folder / goes_on.path.name
            return Journal.create_with(path, goes_on.lines, chain, sealer=self._sealer)
        name = f"emergency-{self._began:%Y-%m-%d-%H%M%S}"
        for number in range(1, limits.JOURNAL_NAMES_MAX + 1):
            # By name they stand in the order in which they began: "_" comes after ".", "-" before it.
            path = folder / (f"{name}.jsonl" if number == 1 else f"{name}_{number:03}.jsonl")
            if not path.exists():
                return Journal.create(path, first, self._began, sealer=self._sealer)
        raise CannotDo("there are too many journals of this second", str(folder))
