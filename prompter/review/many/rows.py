"""Lays a journal out as rows: one for the journal, one for each event that tells how an incident went."""

import hashlib
import re
from collections.abc import Callable, Iterator
from datetime import datetime
from functools import lru_cache
from typing import Any, NamedTuple

from prompter.review.many.checking import Checked, Line

SHORTENED = "…"
"""Stands in a prompt's words for what the plan filled in: who, where, how much."""


class JournalRow(NamedTuple):
    """One journal. `journal` numbers it; `home` tells homes apart without naming one.

    `flow`: name, version and the first digits of the SHA-256 of its text, since a text may change
    under one version. Times in ms. `outcome`: 'open' if nobody closed it.
    """

    journal: int
    id: str
    home: str
    started: str
    flow: str
    program: str
    rehearsal: bool
    outcome: str
    end_ms: int


class EventRow(NamedTuple):
    """One event. `t_ms`: since the emergency began; `visit`: counts the stays in a step of care.

    `step`: where care stood. `to_step`: where a move leads. `what`: a fact, quantity, role or beat.
    `believed`: of what was heard; of a number, that it was not refused. `text`: a prompt's words.
    """

    journal: int
    seq: int
    t_ms: int
    kind: str
    visit: int
    step: str
    machine: str | None
    to_step: str | None
    how: str | None
    what: str | None
    value: str | None
    number: float | None
    answer: str | None
    believed: bool | None
    text: str | None


JOURNAL_TYPES = ("int32", "string", "string", "string", "string", "string", "bool", "string", "int64")
EVENT_TYPES = (
    "int32", "int32", "int64", "string", "int32", "string", "string", "string", "string", "string",
    "string", "float64", "string", "bool", "string",
)  # fmt: skip


def journal_row(journal: int, folder: str, found: Checked, times_ms: list[int]) -> JournalRow:
    """`folder`: where it lies below the folder of all, empty if in it."""
    opened, lines = found.opened, found.lines
    closed = next(((line, ms) for line, ms in zip(lines, times_ms, strict=True) if line.kind == "closed"), None)
    started = next((line for line in lines if line.kind == "started"), lines[0])
    return JournalRow(
        journal=journal,
        id=lines[0].check,
        home=_home(folder, opened),
        started=started.at,
        flow=_flow(_text(opened.get("flow")), _text(opened.get("flow_text"))),
        program=_text(opened.get("version")),
        rehearsal=opened.get("live") is False
        or (opened.get("live") is not True and opened.get("seed") is not None),
        outcome=(closed[0].outcome if closed else "") or "open",
        end_ms=max(0, closed[1] if closed else times_ms[-1]),
    )


def times_of(lines: list[Line]) -> list[int]:
    """Each event's ms since `started`: by the session's clock, and over a restart by the wall clock."""
    clock_ms, before, found, zero = 0, lines[0], [], None
    for line in lines:
        step_ms = line.mono_ms - before.mono_ms
        if step_ms < 0:
            step_ms = max(0, round((_wall(line) - _wall(before)).total_seconds() * 1000))
        clock_ms += step_ms
        if zero is None and line.kind == "started":
            zero = clock_ms
        found.append(clock_ms)
        before = line
    return [ms - zero for ms in found] if zero else found


def event_rows(journal: int, found: Checked, times_ms: list[int]) -> Iterator[tuple]:
    """The events that the questions need, each as the values of an `EventRow`."""
    shorten = _shortener(found.opened)
    visit, step = 0, ""
    lines = found.lines
    for n, line in enumerate(lines):
        kind = line.kind
        tell = _TELLERS.get(kind)
        if tell is None:
            continue
        told = tell(line)
        if told is None:
            continue
        if kind == "say" and told[-1] is not None:
            told = (*told[:-1], shorten(told[-1]))
        elif kind == "numbered" and n + 1 < len(lines) and lines[n + 1].kind == "refused":
            told = (*told[:-2], False, None)
        yield (journal, line.seq, times_ms[n], kind, visit, step, *told)
        if kind == "moved" and line.machine == "care":
            visit, step = visit + 1, line.target or ""


_Told = tuple[Any, ...] | None  # machine, to_step, how, what, value, number, answer, believed, text


def _said(line: Line) -> _Told:
    # What is said to the operator holds the address: its words stay in their home.
    text = None if line.role == "call" else line.text
    return None, None, None, line.role, None, None, None, None, text


def _moved(line: Line) -> _Told:
    return line.machine, line.target, line.how, None, None, None, line.answer, None, None


def _numbered(line: Line) -> _Told:
    return None, None, line.how, line.quantity, None, _number(line.value), None, True, None


def _breath(line: Line) -> _Told:
    """Of what is paced only breaths are asked about."""
    return (None, None, None, line.what, *_NOTHING[4:]) if line.what == "breaths" else None


_NOTHING = (None,) * 9
_TELLERS: dict[str, Callable[[Line], _Told]] = {
    "started": lambda line: _NOTHING,
    "closed": lambda line: _NOTHING,
    "say": _said,
    "prompt ended": lambda line: _NOTHING if line.cut else None,
    "heard": lambda line: (*_NOTHING[:6], line.answer, line.believed is True, None),
    "answered": lambda line: (None, None, line.how, *_NOTHING[3:6], line.answer, None, None),
    "unclear": lambda line: (*_NOTHING[:6], line.answer, None, None),
    "numbered": _numbered,
    "moved": _moved,
    "learned": lambda line: (*_NOTHING[:3], line.what, _text(line.value), *_NOTHING[5:]),
    "pace": _breath,
    "beat": _breath,
    "resumed": lambda line: (*_NOTHING[:5], _number(line.gap_ms), *_NOTHING[6:]),
    "failed": lambda line: (*_NOTHING[:3], line.part, *_NOTHING[4:]),
}


def _text(value: Any) -> str:
    return value if isinstance(value, str) else "" if value is None else str(value)


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _wall(line: Line) -> datetime:
    return datetime.fromisoformat(line.at)


@lru_cache(maxsize=64)
def _flow(name: str, text: str) -> str:
    """'breathing-trouble 1 (0f3a9c1e)'; 'unknown' without a text."""
    top = dict(re.findall(r"^(flow|version):[ \t]+([^\n#]+)", text, re.MULTILINE))
    digits = hashlib.sha256(text.encode()).hexdigest()[:8] if text else ""
    named = [name or top.get("flow", "").strip(), top.get("version", "").strip()]
    return " ".join(filter(None, [*named, f"({digits})" if digits else ""])) or "unknown"


def _home(folder: str, opened: dict[str, Any]) -> str:
    """The folder, or without one whom the plan is for; as digits that lead back only to who knows it."""
    words = _words(opened)
    whose = folder or f"{words.get('name')} {words.get('address')}"
    return hashlib.sha256(f"home {whose}".encode()).hexdigest()[:10]


def _words(opened: dict[str, Any]) -> dict[str, Any]:
    variant = opened.get("variant")
    words = variant.get("words") if isinstance(variant, dict) else None
    return words if isinstance(words, dict) else {}


def _shortener(opened: dict[str, Any]) -> Callable[[str], str]:
    """Takes out of a prompt whatever the plan filled in, and every number.

    With a plan, but not what it filled in, nothing of a prompt may be told.
    """
    words = _words(opened)
    if not words and opened.get("plan_text"):
        return lambda text: SHORTENED
    filled = {_text(word).strip().rstrip(".,") for word in words.values()}
    return _pattern_of(frozenset(text for text in filled if len(text) > 1))


@lru_cache(maxsize=4096)
def _pattern_of(filled: frozenset[str]) -> Callable[[str], str]:
    named = [rf"(?<!\w){re.escape(text)}(?!\w)" for text in sorted(filled, key=len, reverse=True)]
    pattern = re.compile("|".join([*named, r"\d+(?:[., ]+\d+)*"]))

    @lru_cache(maxsize=512)
    def shorten(text: str) -> str:
        return pattern.sub(SHORTENED, text)

    return shorten
