"""Lays a journal out as rows: one for the journal, one for each event that tells how an incident went."""

import hashlib
import re
from collections.abc import Callable, Iterator
from datetime import datetime
from functools import lru_cache
from typing import Any, NamedTuple

from prompter.journal import Reading

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
    machine: str | None = None
    to_step: str | None = None
    how: str | None = None
    what: str | None = None
    value: str | None = None
    number: float | None = None
    answer: str | None = None
    believed: bool | None = None
    text: str | None = None


JOURNAL_TYPES = ("int32", "string", "string", "string", "string", "string", "bool", "string", "int64")
EVENT_TYPES = (
    "int32", "int32", "int64", "string", "int32", "string", "string", "string", "string", "string",
    "string", "float64", "string", "bool", "string",
)  # fmt: skip


def journal_row(journal: int, folder: str, reading: Reading, times_ms: list[int]) -> JournalRow:
    """`folder`: where it lies below the folder of all, empty if in it."""
    opened, events = reading.events[0], reading.events
    closed = [n for n, event in enumerate(events) if event["kind"] == "closed"][:1]
    started = next((event for event in events if event["kind"] == "started"), opened)
    return JournalRow(
        journal=journal,
        id=opened["check"],
        home=_home(folder, opened),
        started=started["at"],
        flow=_flow(str(opened.get("flow") or ""), _text(opened.get("flow_text"))),
        program=_text(opened.get("version")),
        rehearsal=opened.get("live") is False
        or (opened.get("live") is not True and opened.get("seed") is not None),
        outcome=next((_text(events[n].get("outcome")) for n in closed), "") or "open",
        end_ms=max(0, next((times_ms[n] for n in closed), times_ms[-1])),
    )


def times_of(events: list[dict[str, Any]]) -> list[int]:
    """Each event's ms since `started`: by the session's clock, and over a restart by the wall clock."""
    clock_ms, before, found, zero = 0, events[0], [], None
    for event in events:
        step_ms = event["mono_ms"] - before["mono_ms"]
        if step_ms < 0:
            step_ms = max(0, round((_wall(event) - _wall(before)).total_seconds() * 1000))
        clock_ms += step_ms
        if zero is None and event["kind"] == "started":
            zero = clock_ms
        found.append(clock_ms)
        before = event
    return [ms - zero for ms in found] if zero else found


def event_rows(journal: int, events: list[dict[str, Any]], times_ms: list[int]) -> Iterator[EventRow]:
    """The events that the questions need; of unknown kinds nothing is taken."""
    shorten = _shortener(events[0])
    visit, step = 0, ""
    refused = {n - 1 for n, event in enumerate(events) if event["kind"] == "refused"}
    for n, event in enumerate(events):
        kind = event["kind"]
        tell = _TELLERS.get(kind)
        if tell is None or event.get("cut") is False or event.get("what") in _NOT_ASKED_ABOUT:
            continue
        fields = tell(event)
        if kind == "say" and fields["text"] is not None:
            fields["text"] = shorten(fields["text"])
        elif kind == "numbered":
            fields["believed"] = n not in refused
        yield EventRow(journal, event["seq"], times_ms[n], kind, visit, step, **fields)
        if kind == "moved" and event.get("machine") == "care":
            visit, step = visit + 1, _text(event.get("target"))


_NOT_ASKED_ABOUT = frozenset(["suction", "pushes"])
"""Of what is paced only breaths are asked about (and of the ends of prompts only the cut ones)."""


def _said(event: dict[str, Any]) -> dict[str, Any]:
    role = _text(event.get("role"))
    # What is said to the operator holds the address: its words stay in their home.
    return {"what": role, "text": None if role == "call" else _text(event.get("text"))}


def _moved(event: dict[str, Any]) -> dict[str, Any]:
    return {
        "machine": _text(event.get("machine")),
        "to_step": _text(event.get("target")),
        "how": _text(event.get("how")),
        "answer": _text(event.get("answer")) or None,
    }


_TELLERS: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {
    "started": lambda e: {},
    "say": _said,
    "prompt ended": lambda e: {},
    "heard": lambda e: {
        "answer": _text(e.get("answer")) or None,
        "believed": e.get("believed") is True,
    },
    "answered": lambda e: {"answer": _text(e.get("answer")), "how": _text(e.get("how"))},
    "unclear": lambda e: {"answer": _text(e.get("answer")) or None},
    "numbered": lambda e: {"what": _text(e.get("quantity")), "number": _number(e.get("value"))},
    "moved": _moved,
    "learned": lambda e: {"what": _text(e.get("what")), "value": _text(e.get("value"))},
    "pace": lambda e: {"what": _text(e.get("what"))},
    "beat": lambda e: {"what": _text(e.get("what"))},
    "resumed": lambda e: {"number": _number(e.get("gap_ms"))},
    "failed": lambda e: {"what": _text(e.get("part"))},
    "closed": lambda e: {},
}


def _text(value: Any) -> str:
    return value if isinstance(value, str) else "" if value is None else str(value)


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _wall(event: dict[str, Any]) -> datetime:
    return datetime.fromisoformat(event["at"])


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
