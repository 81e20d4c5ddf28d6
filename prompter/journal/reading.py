"""Reads a journal of any bytes up to its first damage, and says what is wrong there."""

import stat
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from prompter import limits
from prompter.errors import CannotDo
from prompter.journal.head import Head, read_head
from prompter.journal.keys import identities
from prompter.journal.line import BadLine, digest, parse, whole
from prompter.journal.sealing import unseal


@dataclass(frozen=True, slots=True)
class Reading:
    """What a journal holds. `events` are the sound ones, from the first to the first damage.

    intact: every byte is as written and nothing is torn. first_bad: number of the first line that
    is not (1 is the first), or None. torn_tail: no sound line follows the damage, as a power loss
    leaves it. missing: so many acknowledged events are not there, by the head beside the file (0
    without one). closed: a `closed` event stands. problem: one line for people, empty if intact.
    sound_bytes: length of the sound part. last_digest: SHA-256 of the last sound line, for the next
    one's `prev`.
    """

    events: list[dict[str, Any]] = field(default_factory=list)
    intact: bool = True
    first_bad: int | None = None
    torn_tail: bool = False
    missing: int = 0
    closed: bool = False
    problem: str = ""
    sound_bytes: int = 0
    last_digest: str = ""


def read(path: Path | str) -> Reading:
    """Reads the journal at `path`. Raises CannotDo only if the file itself cannot be read."""
    head = read_head(Path(path))  # first: a journal that is being written grows meanwhile
    try:
        told = Path(path).stat()
        size = told.st_size
        if not (stat.S_ISREG(told.st_mode) or stat.S_ISDIR(told.st_mode)):  # a pipe may never end
            raise CannotDo("a pipe or device, no file", str(path), "give the path of a journal.")
        if size > limits.JOURNAL_BYTES_MAX:
            raise CannotDo(
                f"too large for a journal ({size} bytes)",
                str(path),
                "give the journal of one emergency.",
            )
        data = Path(path).read_bytes()
    except OSError as error:
        raise CannotDo(
            f"cannot be read ({error.strerror})", str(path), "give the path of a journal."
        ) from error
    clear = _clear(Path(path), data)
    reading = against_head(read_bytes(clear), head)
    if clear is not data:  # `sound_bytes` counts what lies on the disk
        on_disk = data.split(b"\n")[: len(reading.events)]
        reading = replace(reading, sound_bytes=sum(len(line) + 1 for line in on_disk))
    return reading


def clear_bytes(path: Path) -> bytes:
    """The file's lines in clear, damaged ones included. Raises OSError, and CannotDo without a key."""
    return _clear(path, path.read_bytes())


def sound_lines(path: Path, reading: Reading) -> list[bytes]:
    """The lines of `reading.events`, in clear, each with its newline. Raises OSError."""
    return clear_bytes(path).splitlines(keepends=True)[: len(reading.events)]


def _clear(path: Path, data: bytes) -> bytes:
    return unseal(data, lambda: identities(path), str(path))


def read_sound(path: Path | str) -> Reading:
    """As `read`, but raises CannotDo as well if not even the first event is sound."""
    reading = read(path)
    if not reading.events:
        problem = f"not a readable journal ({reading.problem})"
        raise CannotDo(problem, str(path), "give a file that the prompter wrote.")
    return reading


verify = read
"""Reading is verifying: there is no way to read a journal unchecked."""


def against_head(reading: Reading, head: Head | None) -> Reading:
    """`reading`, and what the head says besides: a cut at a line's end, or another journal's lines."""
    if head is None:
        return reading
    count = len(reading.events)
    if head.seq > count:
        missing = head.seq - count
        problem = reading.problem or f"line {count + 1}: it was there when it was written"
        problem += f" ({missing} acknowledged {'event is' if missing == 1 else 'events are'} missing)"
        first_bad = reading.first_bad or count + 1
        return replace(
            reading, intact=False, first_bad=first_bad, missing=missing, problem=problem
        )
    after = reading.events[head.seq]["prev"] if head.seq < count else reading.last_digest
    if after != head.digest:
        problem = f"line {head.seq}: it is another than the one acknowledged"
        return replace(reading, intact=False, first_bad=head.seq, torn_tail=False, problem=problem)
    return reading


def read_bytes(data: bytes) -> Reading:
    """Reads a journal from memory; see `read`. Never raises."""
    if not data:
        return Reading(intact=False, first_bad=1, problem="the file is empty")
    lines = data.split(b"\n")
    tail = lines.pop()  # empty if the last line is complete
    events: list[dict[str, Any]] = []
    prev, problem = "", ""
    for number, line in enumerate(lines, 1):
        try:
            event = parse(line)
            if event["seq"] != number:
                raise BadLine(f"it is numbered {event['seq']}")
            if event["prev"] != prev:
                raise BadLine("it does not follow the line before it")
        except BadLine as bad:
            problem = f"line {len(events) + 1}: {bad}"
            break
        events.append(event)
        prev = digest(line)
    if events and not whole(lines[len(events) - 1], events[-1]):
        events.pop()  # every other line is vouched for by the `prev` of the next; nobody vouches for this
        problem = f"line {len(events) + 1}: it was changed"
    first_bad = len(events) + 1 if problem or tail else None
    if tail and not problem:
        problem = f"line {first_bad}: it breaks off before its end"
    return Reading(
        events=events,
        intact=first_bad is None,
        first_bad=first_bad,
        torn_tail=first_bad is not None and first_bad > 1 and not any(map(_sound, lines[first_bad:])),
        closed=any(event["kind"] == "closed" for event in events),
        problem=problem,
        sound_bytes=sum(len(line) + 1 for line in lines[: len(events)]),
        last_digest=digest(lines[len(events) - 1]) if events else "",
    )


def _sound(line: bytes) -> bool:
    """Whether these bytes were written as a line of some journal, wherever they stand now."""
    try:
        return whole(line, parse(line))
    except BadLine:
        return False
