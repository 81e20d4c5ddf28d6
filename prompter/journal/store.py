"""The journal's file: one writer, one line an event, acknowledged when the disk has it."""

import contextlib
import hashlib
import os
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from filelock import FileLock, Timeout

from prompter.errors import CannotDo
from prompter.journal.disk import Disk, FileDisk
from prompter.journal.head import Head, HeadFile
from prompter.journal.kept_lines import KeptLines
from prompter.journal.line import Chain, digest
from prompter.journal.reading import read, sound_lines
from prompter.journal.sealing import Sealer, drop_own_key, is_sealed, keep_own_key, own_sealer

MakeDisk = Callable[[Path, bool], Disk]


_CLOSED = b'"kind":"closed"'
"""Stands in no value, where its quotes would be escaped."""


class HeldByAnother(CannotDo):
    """Another prompter is writing this journal."""


class Journal:
    """An open journal. Not thread-safe: `BackgroundWriter` is the way for a live session.

    Only one Journal, in all processes, can hold the same file. Made by `create` or `reopen`.
    """

    def __init__(
        self,
        path: Path,
        disk: Disk,
        lock: FileLock,
        chain: Chain,
        lines: list[bytes],
        sealer: Sealer | None = None,
        size: int = 0,
    ) -> None:
        self.path = path
        self.chain = chain
        self.lines = KeptLines(lines)  # every line so far, so that a failed disk can be left for another
        self._disk, self._lock = disk, lock
        self.sealer = sealer  # lines are encrypted on their way to the disk
        self._size = size
        self._dirty = False
        try:
            self._head = HeadFile(path)
            self._acknowledge()
        except BaseException:
            with contextlib.suppress(OSError):
                disk.close()
            _unlock(lock)
            raise

    @classmethod
    def create(
        cls,
        path: Path | str,
        first: dict[str, Any],
        at: datetime | None = None,
        mono_ms: int = 0,
        disk: MakeDisk = FileDisk,
        sealer: Sealer | None = None,
    ) -> Self:
        """Begins a new journal with its first event (`at` defaults to now), encrypted by `sealer`.

        Raises CannotDo if the file exists, another prompter holds it, or the disk refuses.
        """
        chain = Chain()
        line = chain.next_line(first, at or datetime.now().astimezone(), mono_ms)
        return cls.create_with(Path(path), [line], chain, disk, sealer)

    @classmethod
    def create_with(
        cls,
        path: Path,
        lines: Iterable[bytes],
        chain: Chain,
        disk: MakeDisk = FileDisk,
        sealer: Sealer | None = None,
    ) -> Self:
        """Begins a new file that already holds `lines`, whose end is `chain`. Raises CannotDo."""
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            lock = _lock(path)
            try:
                if sealer is not None and not path.exists():
                    keep_own_key(path, sealer)
                opened = disk(path, True)
            except FileExistsError as error:
                _unlock(lock)
                raise CannotDo(
                    "is there already", str(path), "choose another name, or reopen it."
                ) from error
            except BaseException:
                _unlock(lock)
                raise
        except OSError as error:
            raise CannotDo(
                f"the journal cannot begin ({error.strerror})", str(path), "choose another folder."
            ) from error
        journal = cls(path, opened, lock, chain, [], sealer)
        try:
            journal.commit(*lines)
        except BaseException as error:
            journal.close()  # whatever stopped it: nobody holds a journal that did not begin
            if not isinstance(error, OSError):
                raise
            raise CannotDo(
                f"the journal cannot begin ({error.strerror})", str(path), "choose another folder."
            ) from error
        return journal

    @classmethod
    def reopen(
        cls,
        path: Path | str,
        at: datetime | None = None,
        mono_ms: int | None = None,
        disk: MakeDisk = FileDisk,
    ) -> Self:
        """Goes on with a journal that was left.

        A torn last line, which nobody was told is safe, is moved to a file beside it, and the
        journal says so. Raises CannotDo if another prompter holds it, or if lines before the last
        are damaged: such a file is evidence and is not written on.
        """
        path = Path(path)
        reading = read(path)
        if not reading.events:
            raise CannotDo(
                f"holds no sound event ({reading.problem})", str(path), "begin a new journal."
            )
        try:
            lock = _lock(path)
            try:
                reading = read(path)  # again: it may have grown until we held it
                if not reading.intact and (not reading.torn_tail or reading.missing):
                    raise CannotDo(
                        f"damaged ({reading.problem})",
                        str(path),
                        "begin a new journal; keep this file.",
                    )
                data, lines = path.read_bytes(), sound_lines(path, reading)
                if is_sealed(data) and own_sealer(path) is None:
                    raise CannotDo("was closed; only the family can read it.", str(path))
                opened = disk(path, False)
            except BaseException:
                _unlock(lock)
                raise
        except OSError as error:
            raise CannotDo(
                f"cannot be written ({error.strerror})", str(path), "begin a new journal."
            ) from error
        torn = data[reading.sound_bytes :]
        chain = Chain(len(reading.events), reading.last_digest)
        sealer = own_sealer(path) if is_sealed(data) else None
        journal = cls(path, opened, lock, chain, lines, sealer, reading.sound_bytes)
        try:
            if torn:
                aside = _set_aside(path, torn)
                opened.truncate(reading.sound_bytes)
                detail = f"{len(torn)} bytes of a torn last line set aside in {aside.name}"
                journal.append(
                    {
                        "kind": "fault",
                        "part": "journal",
                        "detail": detail,
                        "sha256": hashlib.sha256(torn).hexdigest(),
                    },
                    at or datetime.now().astimezone(),
                    reading.events[-1]["mono_ms"] if mono_ms is None else mono_ms,
                )
        except BaseException as error:
            journal.close()
            if not isinstance(error, OSError):
                raise
            raise CannotDo(
                f"cannot be mended ({error.strerror})", str(path), "begin a new journal."
            ) from error
        return journal

    def append(self, record: dict[str, Any], at: datetime, mono_ms: int) -> int:
        """Writes one event and returns its number once the disk has it.

        `at`: wall-clock time; `mono_ms`: the session's clock. Raises CannotDo if `record` is not JSON,
        OSError if the disk fails; after either the journal is as it was before.
        """
        before = Chain(self.chain.seq, self.chain.prev)
        line = self.chain.next_line(record, at, mono_ms)
        try:
            self.commit(line)
        except OSError:
            self.chain = before
            raise
        return self.chain.seq

    def commit(self, *lines: bytes) -> None:
        """Writes lines made by this journal's chain. Raises OSError; the file then ends where it did."""
        if self._dirty:
            self._disk.truncate(self._size)
            self._dirty = False
        self._dirty = (
            True  # until the disk has all of it: half a line must not stay before the next try
        )
        data = b"".join(self.sealer.line(line) for line in lines) if self.sealer else b"".join(lines)
        self._disk.append(data)
        self._disk.sync()
        self._dirty = False
        self._size += len(data)
        self.lines.extend(lines)
        self._acknowledge()

    def _acknowledge(self) -> None:
        if self.lines:
            self._head.write(Head(len(self.lines), digest(self.lines.last.rstrip(b"\n"))))

    def close(self) -> None:
        """Gives the file free. What was acknowledged is safe already."""
        try:
            with contextlib.suppress(OSError):  # a torn tail, which `reopen` and every reader know
                if self._dirty:
                    self._disk.truncate(self._size)
            with contextlib.suppress(OSError):
                self._disk.close()
            self._head.close()
            if self.sealer is not None and any(_CLOSED in line for line in self.lines):
                drop_own_key(self.path)
        finally:
            _unlock(self._lock)  # whatever stopped it


def _lock(path: Path) -> FileLock:
    lock = FileLock(f"{path}.lock", timeout=0, mode=0o600, thread_local=False)
    try:
        lock.acquire()
    except Timeout as error:
        raise HeldByAnother(
            "another prompter is writing this journal", str(path), "close it first."
        ) from error
    return lock


def _unlock(lock: FileLock) -> None:
    """Leaves no lock file behind. Taken away while held: `FileLock` sees that a file it opened before
    has lost its name, and tries again."""
    if os.name == "posix":
        with contextlib.suppress(OSError):
            os.unlink(lock.lock_file)
    lock.release()
    if os.name != "posix":
        with contextlib.suppress(OSError):  # Windows: only once nobody has it open
            os.unlink(lock.lock_file)


def _set_aside(path: Path, torn: bytes) -> Path:
    for number in range(1, 1000):
        aside = path.with_name(f"{path.name}.torn-{number}")
        try:
            disk = FileDisk(aside, new=True)
        except FileExistsError:
            continue
        try:
            disk.append(torn)
            disk.sync()
        finally:
            disk.close()
        return aside
    raise CannotDo("has been torn a thousand times", str(path), "begin a new journal.")
