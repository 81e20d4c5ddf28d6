"""A small file beside the journal that names its last acknowledged line, so that a cut at a line's end shows.

It is written after the line has been flushed, and not flushed itself: after a power loss it may name an
earlier line, never one that the disk does not have.
"""

import contextlib
import json
import os
from dataclasses import dataclass
from pathlib import Path

import rfc8785

from prompter.journal.line import digest

_CHECK_DIGITS = 16
_BYTES_MAX = 4096


@dataclass(frozen=True, slots=True)
class Head:
    """The journal holds at least `seq` events, and line `seq` has this SHA-256."""

    seq: int
    digest: str


def head_path(journal: Path) -> Path:
    """Where the head of this journal is."""
    return Path(_name(journal))


def _name(journal: Path | str) -> str:
    return f"{journal}.head"


def read_head(journal: Path | str) -> Head | None:
    """The head of the journal; None if there is none or it is torn: then nothing is known. Never raises."""
    try:
        with open(_name(journal), "rb") as file:  # noqa: PTH123 (a `Path` for each of thousands takes time)
            found = json.loads(file.read(_BYTES_MAX))
        head = Head(found["seq"], found["digest"])
        sound = type(head.seq) is int and head.seq > 0 and found["check"] == _check(head)
        return head if sound else None
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None


class HeadFile:
    """The open head. A disk that refuses it stops nothing: the journal itself is what counts."""

    def __init__(self, journal: Path) -> None:
        self._fd: int | None = None
        flags = os.O_RDWR | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0)
        with contextlib.suppress(OSError):
            self._fd = os.open(head_path(journal), flags, 0o600)

    def write(self, head: Head) -> None:
        """Over the one before, which is never longer."""
        if self._fd is None:
            return
        fields = {"seq": head.seq, "digest": head.digest, "check": _check(head)}
        with contextlib.suppress(OSError):
            os.lseek(self._fd, 0, os.SEEK_SET)
            os.write(self._fd, rfc8785.dumps(fields) + b"\n")

    def close(self) -> None:
        if self._fd is not None:
            for step in (os.fsync, os.close):
                with contextlib.suppress(OSError):
                    step(self._fd)
            self._fd = None


def _check(head: Head) -> str:
    return digest(f"{head.seq} {head.digest}".encode())[:_CHECK_DIGITS]
