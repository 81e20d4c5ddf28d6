"""Reads a journal as strictly as the journal room does, but at the speed that thousands of them need.

Whatever looks wrong here is read once more by the journal room, which alone says what is damaged. What
passes here passes there (a test damages and forges journals, and compares the two):

- The chain: every line's bytes are hashed, and the next line names that hash. So no line but the last
  need be made canonical again; the last one is, by the journal room's own `whole`.
- The frame: msgspec parses as strictly as Python's `json`, but for what it does not keep: hence the look
  at UTF-8. A line that only Python accepts (NaN, 1.0 for 1) goes the slow way.
"""

import hashlib
import json
import os
import re
import stat
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
import numpy as np

from prompter import limits
from prompter.journal import Reading, read
from prompter.journal.head import read_head
from prompter.journal.line import parse, whole
from prompter.journal.reading import against_head

_WHOLE_MAX = 2**53
"""From here on the journal room takes a number for a float (RFC 8785)."""

Whole = Annotated[int, msgspec.Meta(gt=-_WHOLE_MAX, lt=_WHOLE_MAX)]


class Line(msgspec.Struct, gc=False, kw_only=True):
    """One event: its frame, and what the questions need of it.

    In the order of a canonical line (RFC 8785), for then each field is found at first sight.
    """

    answer: str | None = None
    at: str
    check: str
    gap_ms: Whole | float | None = None
    how: str | None = None
    kind: str
    machine: str | None = None
    mono_ms: Whole
    outcome: str | None = None
    part: str | None = None
    prev: str
    quantity: str | None = None
    role: str | None = None
    seq: int
    target: str | None = None
    text: str | None = None
    v: Literal[1]
    value: str | Whole | float | bool | None = None
    what: str | None = None


FRAME = ("at", "check", "kind", "mono_ms", "prev", "seq", "v")
"""Fields that every line has."""


NULL = msgspec.Raw(b"null")


class Opened(msgspec.Struct, gc=False, kw_only=True):
    """What the questions need of the first line, of whatever sort; texts that many share as they stand in JSON."""

    flow: Any = None
    flow_text: msgspec.Raw = NULL
    live: Any = None
    plan_text: msgspec.Raw = NULL
    seed: Any = None
    variant: msgspec.Raw = NULL
    version: Any = None


First = msgspec.defstruct(
    "First",
    [(told.name, told.type, told.default) for told in msgspec.structs.fields(Opened)],
    bases=(Line,),
    kw_only=True,
    gc=False,
)
"""The first line as both, which is more than a third of all bytes, and so is parsed but once."""


@dataclass(frozen=True, slots=True)
class Checked:
    """The events of a sound journal, and what its first one says; or `problem`, one line for people."""

    lines: list[Line] = field(default_factory=list)
    opened: Opened = field(default_factory=Opened)
    problem: str = ""


_line_decoder = msgspec.json.Decoder(Line)
_first_decoder = msgspec.json.Decoder(First)
_encoder = msgspec.json.Encoder(order="sorted")
_PLAIN = frozenset({str, bool, type(None)})
_hash = hashlib.sha256().copy  # a copy costs half of a new one

_NEWLINE = ord("\n")
_DIGEST_DIGITS, _CHECK_DIGITS = 64, 16

_MINUTE = re.compile(
    r"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])T(?:[01]\d|2[0-3]):[0-5]\d:"
    r"(?:[+-](?:[01]\d|2[0-3]):[0-5]\d|Z)",
    re.ASCII,
)
"""RFC 3339 without its seconds."""

_SECONDS = slice(17, 23)
"""Where a time's seconds stand: `56.789`."""

_FROM, _TO = (np.frombuffer(text, np.uint8) for text in (b"00.000", b"59.999"))


@lru_cache(maxsize=4)
def _parts_of_time(long: int) -> np.dtype:
    """How a time of so many characters is laid out; an offset of one at least stands behind the seconds."""
    offset = long - _SECONDS.stop
    return np.dtype([("minute", f"S{_SECONDS.start}"), ("seconds", "6u1"), ("offset", f"S{offset}")])


def checked(path: Path | str) -> Checked:
    """What `prompter.journal.read` finds, for the cost of one hash and one quick parse a line.

    Raises CannotDo if the file cannot be read.
    """
    head = read_head(path)
    data = _bytes(path)
    lines, last_digest = _sound_lines(data)
    if not lines:
        return _slowly(path)
    if head is not None:
        # Only how many there are and the digests matter to the head.
        frames = [{"prev": line.prev} for line in lines]
        if not against_head(Reading(frames, last_digest=last_digest), head).intact:
            return _slowly(path)
    return Checked(lines, lines[0])


_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
"""A pipe in the folder is not waited for."""


def _bytes(path: Path | str) -> bytes:
    """What the file holds; nothing if it cannot be read at once, or is no journal by its size."""
    try:
        file = os.open(path, _READ)  # a third of the time of `open`
        try:
            told = os.fstat(file)
            size = told.st_size if stat.S_ISREG(told.st_mode) else 0
            data = os.read(file, size) if size <= limits.JOURNAL_BYTES_MAX else b""
        finally:
            os.close(file)
    except OSError:
        return b""
    return data if len(data) == size else b""


def _sound_lines(data: bytes) -> tuple[list[Line], str]:
    """All events if every line is whole, in its place and chained, and the last digest; else none.

    The first of them is a `First`.
    """
    first_end = data.find(b"\n")
    if first_end < 0 or data[-1] != _NEWLINE:
        return [], ""
    first, rest = memoryview(data)[:first_end], data[first_end + 1 : -1].split(b"\n") if first_end + 1 < len(data) else []
    try:
        if not data.isascii():
            data.decode()
        lines = [_first_decoder.decode(first), *map(_line_decoder.decode, rest)]
        digests: list[bytes] = []
        keep = digests.append
        for line in (first, *rest):
            hashed = _hash()
            hashed.update(line)
            keep(hashed.digest())
        sound = _chained(lines, digests) and _framed(lines) and _whole(bytes(line))
    except ValueError:  # no JSON, no journal's line, no day of the calendar
        return [], ""
    return (lines, digests[-1].hex()) if sound else ([], "")


def _whole(line: bytes) -> bool:
    """Whether the last line, which nobody else vouches for, is as it was written.

    Of plain ASCII texts and whole numbers alone the canonical form is sorted keys and nothing between
    them (RFC 8785, 3.2); of any other line the journal room says it.
    """
    event = msgspec.json.decode(line)
    plain = line.isascii() and b"\\" not in line and all(map(_is_plain, event.values()))
    if not plain:
        return whole(line, parse(line))
    if _encoder.encode(event) != line:
        return False
    check = event.pop("check")
    return hashlib.sha256(_encoder.encode(event)).hexdigest()[: len(check)] == check and len(check) == _CHECK_DIGITS


def _is_plain(value: Any) -> bool:
    return type(value) in _PLAIN or (type(value) is int and -_WHOLE_MAX < value < _WHOLE_MAX)


def _chained(lines: list[Line], digests: list[bytes]) -> bool:
    prevs = [line.prev for line in lines]
    first = prevs.pop(0)
    return not first and {*map(len, prevs)} <= {_DIGEST_DIGITS} and "".join(prevs) == b"".join(digests[:-1]).hex()


def _framed(lines: list[Line]) -> bool:
    """The frame of every line, as the journal room's `parse` wants it; its types are checked already.

    Raises ValueError for a time that is no day of the calendar.
    """
    return [line.seq for line in lines] == list(range(1, len(lines) + 1)) and _timed([line.at for line in lines])


def _timed(times: list[str]) -> bool:
    """True if each is RFC 3339 with milliseconds and offset; seconds are looked at all at once.

    Raises ValueError for no day of the calendar.
    """
    long = len(times[0])
    if long <= _SECONDS.stop:
        return False
    if {*map(len, times)} != {long}:  # more than one offset, or no time: one by one
        return all(map(_timed, ([at] for at in times)))
    parts = np.frombuffer("".join(times).encode("ascii", "replace"), _parts_of_time(long))
    minute, offset, seconds = parts["minute"], parts["offset"], parts["seconds"]
    other = (minute[1:] != minute[:-1]) | (offset[1:] != offset[:-1])
    for first in (0, *(np.flatnonzero(other) + 1).tolist()):  # of each minute
        told = times[first][: _SECONDS.start] + times[first][_SECONDS.stop :]
        if not _MINUTE.fullmatch(told):
            return False
        date.fromisoformat(told[:10])
    return bool(((seconds >= _FROM) & (seconds <= _TO)).all())


def _slowly(path: Path | str) -> Checked:
    """By the journal room: for what is damaged, encrypted, or holds values of another sort."""
    reading = read(path)
    if not reading.intact:
        return Checked(problem=reading.problem)
    # Half of a pair of surrogates, which only Python's `json` takes, can be in no file and no table.
    events = json.loads(json.dumps(reading.events, ensure_ascii=False).encode("utf-8", "replace"))
    return Checked([_line(event) for event in events], _opened(events[0]))


def _opened(event: dict[str, Any]) -> Opened:
    known = {name: event[name] for name in Opened.__struct_fields__ if name in event}
    raw = {name: msgspec.Raw(msgspec.json.encode(known.get(name))) for name in ("flow_text", "plan_text", "variant")}
    return Opened(**known | raw)


def _line(event: dict[str, Any]) -> Line:
    """An event as a line; a field of another sort is as good as missing."""
    try:
        return msgspec.convert(event, Line)
    except msgspec.ValidationError:
        frame = {name: event[name] for name in FRAME} | {"v": 1}
        line = msgspec.convert(frame, Line)
        for name in Line.__struct_fields__:
            if name in FRAME:
                continue
            try:
                setattr(line, name, getattr(msgspec.convert(frame | {name: event.get(name)}, Line), name))
            except msgspec.ValidationError:
                continue
        return line
