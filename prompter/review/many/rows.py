"""Lays a journal out as rows: one for the journal, one for each event that tells how an incident went."""

import hashlib
import re
from collections.abc import Callable
from datetime import datetime
from functools import lru_cache
from operator import gt
from typing import Any, NamedTuple

import msgspec

from prompter.review.many.checking import Checked, Line, Opened

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
    `believed`: of a number, that it was not refused. `text`: a prompt's words. `kind`: the journal's;
    of its last event, if that is none of these, "last".
    """

    journal: int
    t_ms: int
    seq: int
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
    believed: bool = False
    text: str | None = None


JOURNAL_TYPES = ("int32", "string", "string", "string", "string", "string", "bool", "string", "int64")
EVENT_TYPES = (
    "int32", "int64", "int32", "string", "int32", "string", "string", "string", "string", "string",
    "string", "float64", "string", "bool", "string",
)  # fmt: skip


def journal_row(journal: int, folder: str, found: Checked, times_ms: list[int]) -> JournalRow:
    """`folder`: where it lies below the folder of all, empty if in it."""
    opened, lines = found.opened, found.lines
    kinds = [line.kind for line in lines]
    closed = kinds.index("closed") if "closed" in kinds else None
    started = kinds.index("started") if "started" in kinds else 0
    return JournalRow(
        journal=journal,
        id=lines[0].check,
        home=_home(folder, opened),
        started=lines[started].at,
        flow=_flow(_text(opened.flow), bytes(opened.flow_text)),
        program=_text(opened.version),
        rehearsal=opened.live is False or (opened.live is not True and opened.seed is not None),
        outcome=(lines[closed].outcome if closed is not None else "") or "open",
        end_ms=max(0, times_ms[-1 if closed is None else closed]),
    )


def times_of(lines: list[Line]) -> list[int]:
    """Each event's ms since `started`: by the session's clock, and over a restart by the wall clock."""
    clock_ms = [line.mono_ms for line in lines]
    if any(map(gt, clock_ms, clock_ms[1:])):
        clock_ms = _bridged(lines)
    zero = next((ms for ms, line in zip(clock_ms, lines, strict=True) if line.kind == "started"), clock_ms[0])
    return [ms - zero for ms in clock_ms] if zero else clock_ms


def _bridged(lines: list[Line]) -> list[int]:
    clock_ms, before, found = 0, lines[0], []
    for line in lines:
        step_ms = line.mono_ms - before.mono_ms
        if step_ms < 0:
            step_ms = max(0, round((_wall(line) - _wall(before)).total_seconds() * 1000))
        clock_ms += step_ms
        found.append(clock_ms)
        before = line
    return found


def event_rows(journal: int, found: Checked, times_ms: list[int], words: dict[str | None, str | None]) -> list[tuple]:
    """The events that the questions need, each as the values of an `EventRow`.

    words: those of the rows so far; a word in thousands of rows is kept once, and found again sooner.
    """
    same = words.setdefault
    shorten = _shortener(found.opened)
    visit, step = 0, ""
    lines = found.lines
    rows: list[tuple] = []
    breathed = False
    for n, line in enumerate(lines):
        kind = TOLD.get(line.kind)
        if kind is None:
            continue
        place = (journal, times_ms[n], line.seq, kind, visit, step)
        if kind == "say":
            # What is said to the operator holds the address: its words stay in their home.
            text = None if line.role == "call" or line.text is None else shorten(line.text)
            rows.append((*place, None, None, None, same(line.role, line.role), None, None, None, False, text))
        elif kind == "moved":
            target, how, answer = same(line.target, line.target), same(line.how, line.how), same(line.answer, line.answer)
            machine = same(line.machine, line.machine)
            rows.append((*place, machine, target, how, None, None, None, answer, False, None))
            if machine == "care":
                visit, step = visit + 1, target or ""
        elif kind in _ANSWERS:
            how, answer = same(line.how, line.how), same(line.answer, line.answer)
            rows.append((*place, None, None, how, None, None, None, answer, False, None))
        elif kind == "numbered":
            believed = n + 1 == len(lines) or lines[n + 1].kind != "refused"
            rows.append((*place, None, None, line.how, line.quantity, None, _number(line.value), None, believed, None))
        elif kind == "learned":
            if line.what == "tube":
                rows.append((*place, None, None, None, line.what, _text(line.value), *_REST))
        elif kind == "beat":
            # Of what is paced only breaths are asked about, and of their beats only the first.
            if line.what == "breaths" and not breathed:
                breathed = True
                rows.append((*place, None, None, None, line.what, None, *_REST))
        elif kind == "pace":
            if line.what == "breaths":
                rows.append((*place, None, None, None, line.what, None, *_REST))
        elif kind == "resumed":
            rows.append((*place, None, None, None, None, None, _number(line.gap_ms), None, False, None))
        else:
            rows.append((*place, None, None, None, line.part, None, *_REST))
    if not rows or rows[-1][2] != lines[-1].seq:
        rows.append((journal, times_ms[-1], lines[-1].seq, LAST, visit, step, None, None, None, None, None, *_REST))
    return rows


_REST = (None, None, False, None)  # number, answer, believed, text
_ANSWERS = frozenset({"answered", "unclear"})
TOLD = {
    kind: kind
    for kind in (*_ANSWERS, "say", "moved", "numbered", "learned", "pace", "beat", "resumed", "failed")
}
"""Kinds of event that the questions ask about; of a kind unknown to this program nothing is asked."""

LAST = "last"


def _text(value: Any) -> str:
    return value if isinstance(value, str) else "" if value is None else str(value)


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _wall(line: Line) -> datetime:
    return datetime.fromisoformat(line.at)


@lru_cache(maxsize=64)
def _flow(name: str, text_json: bytes) -> str:
    """'breathing-trouble 1 (0f3a9c1e)'; 'unknown' without a text."""
    text = _text(msgspec.json.decode(text_json))
    top = dict(re.findall(r"^(flow|version):[ \t]+([^\n#]+)", text, re.MULTILINE))
    digits = hashlib.sha256(text.encode()).hexdigest()[:8] if text else ""
    named = [name or top.get("flow", "").strip(), top.get("version", "").strip()]
    return " ".join(filter(None, [*named, f"({digits})" if digits else ""])) or "unknown"


def _home(folder: str, opened: Opened) -> str:
    """The folder, or without one whom the plan is for; as digits that lead back only to who knows it."""
    words = _words(opened)
    whose = folder or f"{words.get('name')} {words.get('address')}"
    return hashlib.sha256(f"home {whose}".encode()).hexdigest()[:10]


def _words(opened: Opened) -> dict[str, Any]:
    variant = opened.variant
    words = variant.get("words") if isinstance(variant, dict) else None
    return words if isinstance(words, dict) else {}


def _shortener(opened: Opened) -> Callable[[str], str]:
    """Takes out of a prompt whatever the plan filled in, and every number.

    With a plan, but not what it filled in, nothing of a prompt may be told.
    """
    words = _words(opened)
    if not words and opened.plan_text:
        return lambda text: SHORTENED
    filled = {_text(word).strip().rstrip(".,") for word in words.values()}
    return _shortener_of(frozenset(text for text in filled if len(text) > 1))


_NUMBER = re.compile(r"\d+(?:[., ]+\d+)*")


@lru_cache(maxsize=4096)
def _shortener_of(filled: frozenset[str]) -> Callable[[str], str]:
    @lru_cache(maxsize=512)
    def shorten(text: str) -> str:
        found = [match.span() for match in _NUMBER.finditer(text)]
        for word in filled:
            if word in text:  # which few are: it saves the making of the other patterns
                found += [match.span() for match in _alone(word).finditer(text)]
        return _without(text, found) if found else text

    return shorten


@lru_cache(maxsize=4096)
def _alone(word: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w){re.escape(word)}(?!\w)")


def _without(text: str, spans: list[tuple[int, int]]) -> str:
    """The text with SHORTENED in place of each span; spans that overlap count as one."""
    told, ended = [], 0
    for begin, end in sorted(spans):
        if begin >= ended:
            told += [text[ended:begin], SHORTENED]
        ended = max(ended, end)
    return "".join([*told, text[ended:]])
