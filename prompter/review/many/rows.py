"""Lays a journal out as rows: one for the journal, one for each event that tells how an incident went."""

import hashlib
import json
import re
from collections.abc import Callable
from datetime import datetime
from functools import lru_cache
from operator import gt
from typing import Any, NamedTuple

import msgspec

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


class EventWords(NamedTuple):
    """What an event says, but for whose it is and when: of thousands of events few say another thing.

    `step`: where care stood. `to_step`: where a move leads. `what`: a fact, quantity, role or beat.
    `believed`: of a number, that it was not refused. `text`: a prompt's words. `kind`: the journal's;
    of its last event, if that is none of these, "last".
    """

    kind: str
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

EVENT_PLACE = {"journal": "int32", "t_ms": "int64", "seq": "int32", "visit": "int32"}
"""`t_ms`: since the emergency began; `visit`: counts the stays in a step of care."""

WORD_TYPES = (
    "string", "string", "string", "string", "string", "string", "string", "float64", "string", "bool", "string",
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
        home=_home(folder or _whose(bytes(opened.variant))),
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


def event_rows(journal: int, found: Checked, times_ms: list[int], words: dict[tuple, int]) -> list[int]:
    """The events that the questions need, one after the other: for each its EVENT_PLACE and a number.

    words: what that number means, as the values of an `EventWords`; others are added to it.
    """
    opened = found.opened
    shorten = _shortener(bytes(opened.variant), bytes(opened.plan_text))
    visit, step = 0, ""
    lines = found.lines
    rows: list[int] = []
    breathed = False
    seq = 0
    kinds = [line.kind for line in lines]
    for n in [n for n, kind in enumerate(kinds) if kind in TOLD]:
        kind, line, to_step = kinds[n], lines[n], None
        if kind == "say":
            # What is said to the operator holds the address: its words stay in their home.
            text = None if line.role == "call" or line.text is None else shorten(line.text)
            told = (kind, step, None, None, None, line.role, None, None, None, False, text)
        elif kind == "moved":
            told = (kind, step, line.machine, line.target, line.how, None, None, None, line.answer, False, None)
            if line.machine == "care":
                to_step = line.target or ""
        elif kind in _ANSWERS:
            told = (kind, step, None, None, line.how, None, None, None, line.answer, False, None)
        elif kind == "numbered":
            believed = n + 1 == len(lines) or kinds[n + 1] != "refused"
            told = (kind, step, None, None, line.how, line.quantity, None, _number(line.value), None, believed, None)
        elif kind == "learned":
            if line.what != "tube":
                continue
            told = (kind, step, None, None, None, line.what, _text(line.value), *_REST)
        elif kind == "beat":
            # Of what is paced only breaths are asked about, and of their beats only the first.
            if line.what != "breaths" or breathed:
                continue
            breathed = True
            told = (kind, step, None, None, None, line.what, None, *_REST)
        elif kind == "pace":
            if line.what != "breaths":
                continue
            told = (kind, step, None, None, None, line.what, None, *_REST)
        elif kind == "resumed":
            told = (kind, step, None, None, None, None, None, _number(line.gap_ms), None, False, None)
        else:
            told = (kind, step, None, None, None, line.part, None, *_REST)
        seq = line.seq
        rows += (journal, times_ms[n], seq, visit, words.setdefault(told, len(words)))
        if to_step is not None:
            visit, step = visit + 1, to_step
    if seq != lines[-1].seq:
        told = (LAST, step, None, None, None, None, None, *_REST)
        rows += (journal, times_ms[-1], lines[-1].seq, visit, words.setdefault(told, len(words)))
    return rows


_REST = (None, None, False, None)  # number, answer, believed, text
_ANSWERS = frozenset({"answered", "unclear"})
TOLD = _ANSWERS | {"say", "moved", "numbered", "learned", "pace", "beat", "resumed", "failed"}
"""Kinds of event that the questions ask about; of a kind unknown to this program nothing is asked."""

LAST = "last"


def _decoded(told: bytes) -> Any:
    """The value of a JSON text that the check has passed: msgspec alone refuses a number too large for a float."""
    try:
        return msgspec.json.decode(told)
    except msgspec.DecodeError:
        return json.loads(told)


def _text(value: Any) -> str:
    return value if isinstance(value, str) else "" if value is None else str(value)


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _wall(line: Line) -> datetime:
    return datetime.fromisoformat(line.at)


_flows: list[tuple[str, bytes, str]] = []
"""Flow versions met lately. To compare such long texts is quicker than to look one up by its hash."""


def _flow(name: str, text_json: bytes) -> str:
    for known, known_json, told in _flows:
        if known_json == text_json and known == name:
            return told
    told = _told_flow(name, text_json)
    _flows.insert(0, (name, text_json, told))
    del _flows[64:]
    return told


def _told_flow(name: str, text_json: bytes) -> str:
    """'breathing-trouble 1 (0f3a9c1e)'; 'unknown' without a text."""
    text = _text(_decoded(text_json))
    top = dict(re.findall(r"^(flow|version):[ \t]+([^\n#]+)", text, re.MULTILINE))
    digits = hashlib.sha256(text.encode()).hexdigest()[:8] if text else ""
    named = [name or top.get("flow", "").strip(), top.get("version", "").strip()]
    return " ".join(filter(None, [*named, f"({digits})" if digits else ""])) or "unknown"


@lru_cache(maxsize=4096)
def _home(whose: str) -> str:
    """The folder, or without one whom the plan is for; as digits that lead back only to who knows it."""
    return hashlib.sha256(f"home {whose}".encode("utf-8", "surrogatepass")).hexdigest()[:10]


def _whose(variant_json: bytes) -> str:
    words = _words(variant_json)
    return f"{words.get('name')} {words.get('address')}"


def _words(variant_json: bytes) -> dict[str, Any]:
    variant = _decoded(variant_json)
    words = variant.get("words") if isinstance(variant, dict) else None
    return words if isinstance(words, dict) else {}


@lru_cache(maxsize=4096)
def _shortener(variant_json: bytes, plan_json: bytes) -> Callable[[str], str]:
    """Takes out of a prompt whatever the plan filled in, and every number.

    With a plan, but not what it filled in, nothing of a prompt may be told.
    """
    words = _words(variant_json)
    if not words and _decoded(plan_json):
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
