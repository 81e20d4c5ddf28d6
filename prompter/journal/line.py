"""One line of the journal, made and checked: the only place that knows the format.

A line is canonical JSON (RFC 8785) with the fields v, seq, at, mono_ms, kind, the event's own, prev
and check. `prev` chains it to the line before; `check` (SHA-256 over the line without `check`, 16 hex
digits) lets the last line, which no other line vouches for, be checked as well.
"""

import hashlib
import json
import re
from datetime import UTC, datetime
from typing import Any

import rfc8785

from prompter.errors import CannotDo

FORMAT = 1
FRAME = frozenset({"v", "seq", "at", "mono_ms", "prev", "check"})
_CHECK_DIGITS = 16
_RFC_3339 = re.compile(
    r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}"
    r"([+-]([01]\d|2[0-3]):[0-5]\d|Z)",
    re.ASCII,
)


class BadLine(ValueError):
    """These bytes are not a sound line of a journal; the text says why."""


class Chain:
    """The end of the chain: makes the next line. Not thread-safe."""

    def __init__(self, seq: int = 0, prev: str = "") -> None:
        self.seq, self.prev = seq, prev

    def next_line(self, record: dict[str, Any], at: datetime, mono_ms: int) -> bytes:
        """The next line with its newline.

        Raises CannotDo, changing nothing, if `record` is not JSON.
        """
        if taken := FRAME & record.keys():
            raise CannotDo(
                f"an event may not carry the journal's own field '{min(taken)}'", "journal"
            )
        if not isinstance(record.get("kind"), str):
            raise CannotDo("an event needs its kind, a text", "journal")
        event = {
            "v": FORMAT,
            "seq": self.seq + 1,
            "at": timestamp(at),
            "mono_ms": int(mono_ms),
            "prev": self.prev,
            **record,
        }
        try:
            event["check"] = _check(event)
            line = rfc8785.dumps(event)
        except (ValueError, TypeError, RecursionError) as error:
            raise CannotDo(
                f"the event '{record['kind']}' cannot be written as JSON: {error}", "journal"
            ) from error
        self.seq += 1
        self.prev = digest(line)
        return line + b"\n"


def timestamp(at: datetime) -> str:
    """RFC 3339 with offset, to the millisecond. A time without a zone is taken as local time."""
    at = at.astimezone() if at.tzinfo is None else at
    offset = at.utcoffset()
    if offset is None or offset.total_seconds() % 60:  # RFC 3339 has no seconds in an offset
        at = at.astimezone(UTC)
    return at.isoformat(timespec="milliseconds")


def digest(line: bytes) -> str:
    """SHA-256 of a line's bytes without its newline, in hex."""
    return hashlib.sha256(line).hexdigest()


def parse(line: bytes) -> dict[str, Any]:
    """The event on this line (without newline): its frame is checked, not its place.

    Raises BadLine.
    """
    try:
        event = json.loads(line.decode("utf-8"), parse_int=_integer)
    except (ValueError, RecursionError) as error:
        raise BadLine("it is not JSON in UTF-8") from error
    if not isinstance(event, dict):
        raise BadLine("it is not a JSON object")
    if event.get("v") != FORMAT:
        raise BadLine(
            f"its format version is {event.get('v')!r:.20}, and this program reads {FORMAT}"
        )
    wanted = {"seq": int, "mono_ms": int, "kind": str, "at": str, "prev": str, "check": str}
    for name, kind in wanted.items():
        if type(event.get(name)) is not kind:
            raise BadLine(f"its field '{name}' is missing or of the wrong sort")
    if not _RFC_3339.fullmatch(event["at"]):
        raise BadLine("its time is not RFC 3339 with milliseconds and offset")
    try:
        datetime.fromisoformat(event["at"])
    except ValueError as error:
        raise BadLine("its time is no day of the calendar") from error
    return event


def _integer(text: str) -> int | float:
    """RFC 8785 writes a large float without exponent; beyond 2**53 it is a float again."""
    number = float(text)
    return int(text) if abs(number) < 2**53 else number


def whole(line: bytes, event: dict[str, Any]) -> bool:
    """True if this line is byte for byte as it was written, by its own `check`."""
    try:
        rest = {k: v for k, v in event.items() if k != "check"}
        return _check(rest) == event["check"] and rfc8785.dumps(event) == line
    except (ValueError, TypeError, RecursionError):
        return False


def _check(event: dict[str, Any]) -> str:
    return digest(rfc8785.dumps(event))[:_CHECK_DIGITS]
