"""Reads a journal as strictly as the journal room does, but at the speed that thousands of them need.

Whatever looks wrong here is read once more by the journal room, which alone says what is damaged. What
passes here passes there (a test damages and forges journals, and compares the two):

- The chain: every line's bytes are hashed, and the next line names that hash. So no line but the last
  need be made canonical again; the last one is, by the journal room's own `whole`.
- The frame: msgspec parses as strictly as Python's `json`, but for what it does not keep: hence the look
  at UTF-8. A line that only Python accepts (NaN, 1.0 for 1) goes the slow way.
"""

import hashlib
import os
import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Literal

import msgspec
import numpy as np

from prompter import limits
from prompter.journal import Reading, read
from prompter.journal.head import read_head
from prompter.journal.line import parse, whole
from prompter.journal.reading import against_head


class Line(msgspec.Struct, gc=False, kw_only=True):
    """One event: its frame, and what the questions need of it.

    In the order of a canonical line (RFC 8785), for then each field is found at first sight.
    """

    answer: str | None = None
    at: str
    check: str
    gap_ms: int | float | None = None
    how: str | None = None
    kind: str
    machine: str | None = None
    mono_ms: int
    outcome: str | None = None
    part: str | None = None
    prev: str
    quantity: str | None = None
    role: str | None = None
    seq: int
    target: str | None = None
    text: str | None = None
    v: Literal[1]
    value: str | int | float | bool | None = None
    what: str | None = None


FRAME = ("at", "check", "kind", "mono_ms", "prev", "seq", "v")
"""Fields that every line has."""


class Opened(msgspec.Struct, gc=False, kw_only=True):
    """What the questions need of the first line, of whatever sort. `flow_text`: as it stands in JSON."""

    flow: Any = None
    flow_text: msgspec.Raw = msgspec.Raw(b"null")  # as long as all the rest, and the same in most
    live: Any = None
    plan_text: Any = None
    seed: Any = None
    variant: Any = None
    version: Any = None


@dataclass(frozen=True, slots=True)
class Checked:
    """The events of a sound journal, and what its first one says; or `problem`, one line for people."""

    lines: list[Line] = field(default_factory=list)
    opened: Opened = field(default_factory=Opened)
    problem: str = ""


_line_decoder = msgspec.json.Decoder(Line)
_opened_decoder = msgspec.json.Decoder(Opened)
_encoder = msgspec.json.Encoder(order="sorted")
_PLAIN = frozenset({str, int, bool, type(None)})
_hash = hashlib.sha256().copy  # a copy costs half of a new one

_NEWLINE, _OPENS, _CLOSES = b"\n{}"
_DIGEST_DIGITS, _CHECK_DIGITS = 64, 16
_WHOLE_MAX = 2**53
"""From here on the journal room takes a number for a float (RFC 8785)."""

_MINUTE = re.compile(
    r"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])T(?:[01]\d|2[0-3]):[0-5]\d:"
    r"(?:[+-](?:[01]\d|2[0-3]):[0-5]\d|Z)",
    re.ASCII,
)
"""RFC 3339 without its seconds."""

_SECONDS = slice(17, 23)
"""Where a time's seconds stand: `56.789`."""

_FROM, _TO = (np.frombuffer(text, np.uint8) for text in (b"00.000", b"59.999"))


def checked(path: Path) -> Checked:
    """What `prompter.journal.read` finds, for the cost of one hash and one quick parse a line.

    Raises CannotDo if the file cannot be read.
    """
    head = read_head(path)
    try:
        with open(path, "rb", buffering=0) as file:  # noqa: PTH123 (a third of the time)
            data = file.read() if os.fstat(file.fileno()).st_size <= limits.JOURNAL_BYTES_MAX else b""
    except OSError:
        data = b""
    lines, last_digest = _sound_lines(data)
    if not lines:
        return _slowly(path)
    if head is not None:
        # Only how many there are and the digests matter to the head.
        frames = [{"prev": line.prev} for line in lines]
        if not against_head(Reading(frames, last_digest=last_digest), head).intact:
            return _slowly(path)
    return Checked(lines, _opened_decoder.decode(data[: data.index(b"\n")]))


def _sound_lines(data: bytes) -> tuple[list[Line], str]:
    """All events if every line is whole, in its place and chained, and the last digest; else none."""
    octets = np.frombuffer(data, np.uint8)
    ends = np.flatnonzero(octets == _NEWLINE)
    # One object a line: a newline between two of them, nothing else beside it, and (below) as many as lines.
    if not (
        len(ends)
        and ends[-1] == len(data) - 1
        and octets[0] == _OPENS
        and (octets[ends - 1] == _CLOSES).all()
        and (octets[ends[:-1] + 1] == _OPENS).all()
    ):
        return [], ""
    try:
        if not data.isascii():
            data.decode()
        lines = _line_decoder.decode_lines(data)
        digests, view, began = [], memoryview(data), 0
        for end in ends.tolist():
            hashed = _hash()
            hashed.update(view[began:end])
            digests.append(hashed.digest())
            last, began = began, end + 1
        sound = len(lines) == len(ends) and _chained(lines, digests) and _framed(lines) and _whole(data[last:-1])
    except ValueError:  # no JSON, no journal's line, no day of the calendar
        return [], ""
    return (lines, digests[-1].hex()) if sound else ([], "")


def _whole(line: bytes) -> bool:
    """Whether the last line, which nobody else vouches for, is as it was written.

    Of plain ASCII texts and whole numbers alone the canonical form is sorted keys and nothing between
    them (RFC 8785, 3.2); of any other line the journal room says it.
    """
    event = parse(line)
    plain = line.isascii() and b"\\" not in line and all(type(value) in _PLAIN for value in event.values())
    if not plain:
        return whole(line, event)
    if _encoder.encode(event) != line:
        return False
    check = event.pop("check")
    return hashlib.sha256(_encoder.encode(event)).hexdigest()[: len(check)] == check and len(check) == _CHECK_DIGITS


def _chained(lines: list[Line], digests: list[bytes]) -> bool:
    prevs = [line.prev for line in lines]
    first = prevs.pop(0)
    return not first and {*map(len, prevs)} <= {_DIGEST_DIGITS} and "".join(prevs) == b"".join(digests[:-1]).hex()


def _framed(lines: list[Line]) -> bool:
    """The frame of every line, as the journal room's `parse` wants it; its types are checked already.

    Raises ValueError for a time that is no day of the calendar.
    """
    clock_ms = [line.mono_ms for line in lines]
    return (
        [line.seq for line in lines] == list(range(1, len(lines) + 1))
        and -_WHOLE_MAX < min(clock_ms) <= max(clock_ms) < _WHOLE_MAX
        and _timed([line.at for line in lines])
    )


def _timed(times: list[str]) -> bool:
    """True if each is RFC 3339 with milliseconds and offset; seconds are looked at all at once.

    Raises ValueError for no day of the calendar.
    """
    long = len(times[0])
    if {*map(len, times)} != {long}:  # more than one offset, or no time: one by one
        return all(map(_timed, ([at] for at in times)))
    octets = np.frombuffer("".join(times).encode("ascii", "replace"), np.uint8).reshape(len(times), long)
    same = octets[1:] == octets[:-1]
    same[:, _SECONDS] = True
    for first in (0, *(np.flatnonzero(~same.all(axis=1)) + 1).tolist()):  # of each minute
        minute = times[first][: _SECONDS.start] + times[first][_SECONDS.stop :]
        if not _MINUTE.fullmatch(minute):
            return False
        date.fromisoformat(minute[:10])
    seconds = octets[:, _SECONDS]  # six characters, for an offset follows them
    return bool(((seconds >= _FROM) & (seconds <= _TO)).all())


def _slowly(path: Path) -> Checked:
    """By the journal room: for what is damaged, encrypted, or holds values of another sort."""
    reading = read(path)
    if not reading.intact:
        return Checked(problem=reading.problem)
    return Checked([_line(event) for event in reading.events], _opened(reading.events[0]))


def _opened(event: dict[str, Any]) -> Opened:
    known = {name: event[name] for name in Opened.__struct_fields__ if name in event}
    return Opened(**known | {"flow_text": msgspec.Raw(msgspec.json.encode(known.get("flow_text")))})


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
