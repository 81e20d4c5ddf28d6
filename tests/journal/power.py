"""A file layer under the journal whose power can go: what was not flushed is dropped, torn or zeroed.

It stands in place of the module `os` in the journal's own modules, writes real files, and remembers
what a disk would surely have: a file's bytes at its last flush, its name at its folder's last flush.
It is stricter than most file systems: nothing reaches the disk by itself in time.
"""

import os
import random
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from prompter.journal import disk, head


class PowerGone(BaseException):
    """Nothing of the program runs any more."""


class Power:
    """`goes_after`: so many calls to the disk, then the power goes. `flushes` False: flushing does
    nothing, as if the program had left it out."""

    def __init__(self, rng: random.Random, goes_after: int, flushes: bool = True, folders: bool = True) -> None:
        self._rng, self._left = rng, goes_after
        self._flushes, self._folders = flushes, folders
        self._paths: dict[int, Path] = {}
        self._safe: dict[Path, bytes] = {}
        self._named: dict[Path, bool] = {}

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def open(self, path: Any, flags: int, mode: int = 0o777) -> int:
        self._call()
        path = Path(path)
        if not path.is_dir():
            self._named.setdefault(path, path.exists())
            if path not in self._safe:  # what is there after a restart is what the disk had
                self._safe[path] = path.read_bytes() if path.exists() else b""
        fd = os.open(path, flags, mode)
        self._paths[fd] = path
        return fd

    def write(self, fd: int, data: Any) -> int:
        self._call()
        return os.write(fd, data)

    def ftruncate(self, fd: int, size: int) -> None:
        self._call()
        os.ftruncate(fd, size)

    def fsync(self, fd: int) -> None:
        self._call()
        path = self._paths[fd]
        if stat.S_ISDIR(os.fstat(fd).st_mode):
            if self._folders:
                self._named.update({p: True for p in self._named if p.parent == path})
        elif self._flushes:
            self._safe[path] = path.read_bytes()

    def close(self, fd: int) -> None:
        self._paths.pop(fd, None)
        os.close(fd)

    def _call(self) -> None:
        if self._left <= 0:
            raise PowerGone
        self._left -= 1

    def lose(self) -> None:
        """The power is gone: leaves on the disk what a restart finds."""
        self._left = 0
        for path, safe in self._safe.items():
            if not path.exists():
                continue
            if not self._named[path] and self._rng.random() < 0.5:
                path.unlink()
                continue
            path.write_bytes(self._left_of(safe, path.read_bytes()))

    def _left_of(self, safe: bytes, now: bytes) -> bytes:
        rng = self._rng
        if not now.startswith(safe):  # written over, or cut: old, new, or part of each
            part = rng.randint(0, len(now))
            return rng.choice([safe, now, now[:part] + safe[part:]])
        tail = now[len(safe) :]
        part = rng.randint(0, len(tail))
        junk = rng.randbytes(len(tail))
        left = [b"", tail, tail[:part], bytes(len(tail)), tail[:part] + bytes(len(tail) - part), junk, bytes(part) + tail[part:]]
        return safe + rng.choice(left)


@contextmanager
def under(power: Power) -> Iterator[None]:
    """The journal writes through this layer; when the power goes, the rest of the block is skipped."""
    disk.os = head.os = power  # type: ignore[attr-defined]
    try:
        yield
    except PowerGone:
        pass
    finally:
        disk.os = head.os = os  # type: ignore[attr-defined]
        power.lose()
