"""Reads a journal as strictly as the journal room does, but at the speed that thousands of them need.

Whatever looks wrong here is read once more by the journal room, which alone says what is damaged.
"""

import hashlib
import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import msgspec

from prompter import limits
from prompter.journal import Reading, read
from prompter.journal.head import read_head
from prompter.journal.line import FORMAT, parse, whole
from prompter.journal.reading import against_head


class Line(msgspec.Struct, gc=False):
    """One event: its frame, and what the questions need of it."""

    v: int
    seq: int
    at: str
    mono_ms: int
    kind: str
    prev: str
    check: str
    machine: str | None = None
    target: str | None = None
    how: str | None = None
    answer: str | None = None
    what: str | None = None
    value: str | int | float | bool | None = None
    text: str | None = None
    role: str | None = None
    believed: bool | None = None
    cut: bool | None = None
    quantity: str | None = None
    part: str | None = None
    gap_ms: int | float | None = None
    outcome: str | None = None


@dataclass(frozen=True, slots=True)
class Checked:
    """The events of a sound journal, and its first one whole; or `problem`, one line for people."""

    lines: list[Line] = field(default_factory=list)
    opened: dict[str, Any] = field(default_factory=dict)
    problem: str = ""


_TIMES = re.compile(
    r"(?:\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])T(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}"
    r"(?:[+-](?:[01]\d|2[0-3]):[0-5]\d|Z)\n)+",
    re.ASCII,
)
"""RFC 3339 with milliseconds and offset, a time a line."""

_decoder = msgspec.json.Decoder(Line)


def checked(path: Path) -> Checked:
    """What `prompter.journal.read` finds, for the cost of one hash and one quick parse a line.

    Raises CannotDo if the file cannot be read.
    """
    head = read_head(path)
    try:
        data = path.read_bytes() if path.stat().st_size <= limits.JOURNAL_BYTES_MAX else b""
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
    return Checked(lines, msgspec.json.decode(data[: data.index(b"\n")]))


def _sound_lines(data: bytes) -> tuple[list[Line], str]:
    """All events if every line is whole, in its place and chained, and the last digest; else none."""
    raw = data.split(b"\n")
    if raw.pop() or not raw:
        return [], ""
    try:
        lines = _decoder.decode_lines(data)
        digests = [hashlib.sha256(line).hexdigest() for line in raw]
        chained = len(lines) == len(raw) and [line.prev for line in lines] == ["", *digests[:-1]]
        sound = chained and _framed(lines) and whole(raw[-1], parse(raw[-1]))
    except ValueError:  # no JSON, no journal's line, no day of the calendar
        return [], ""
    return (lines, digests[-1]) if sound else ([], "")


def _framed(lines: list[Line]) -> bool:
    """The frame of every line, as the journal room's `parse` wants it; its types are checked already.

    Raises ValueError for a time that is no day of the calendar.
    """
    times = [line.at for line in lines]
    for day in {at[:10] for at in times}:
        date.fromisoformat(day)
    return (
        {line.v for line in lines} == {FORMAT}
        and [line.seq for line in lines] == list(range(1, len(lines) + 1))
        and _TIMES.fullmatch("\n".join([*times, ""])) is not None
    )


def _slowly(path: Path) -> Checked:
    """By the journal room: for what is damaged, encrypted, or holds values of another sort."""
    reading = read(path)
    if not reading.intact:
        return Checked(problem=reading.problem)
    return Checked([_line(event) for event in reading.events], reading.events[0])


def _line(event: dict[str, Any]) -> Line:
    """An event as a line; a field of another sort is as good as missing."""
    try:
        return msgspec.convert(event, Line)
    except msgspec.ValidationError:
        frame = {name: event[name] for name in Line.__struct_fields__[:7]}
        line = msgspec.convert(frame, Line)
        for name in Line.__struct_fields__[7:]:
            try:
                setattr(line, name, getattr(msgspec.convert(frame | {name: event.get(name)}, Line), name))
            except msgspec.ValidationError:
                continue
        return line
