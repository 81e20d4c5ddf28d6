"""Leaves out who it was: a journal's events without names, addresses, sound and free notes.

Everything the account is made from passes through here, and only what is named here comes out.
So a new output, or a new field in the plan, stays silent until somebody lets it speak.
"""

import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from prompter.journal import Reading
from prompter.review.entries import KINDS
from prompter.review.plan_facts import PlanFacts, mapping
from prompter.review.timed import Timed

FRAME = ("v", "seq", "at", "mono_ms", "kind")

TEXTS = frozenset(
    ["answer", "how", "machine", "source", "target", "note", "role", "step", "what", "value", "quantity", "part", "outcome", "name", "heard", "runner_up", "wording", "version", "flow", "cue", "event"]
)
"""Fields whose text comes from the flow or the program. Anything from the plan is taken out of them."""

MORE_TEXTS = {"say": ("text",), "announced": ("text",), "refused": ("why",)}

PLAN_FACTS = (
    ("patient", "age_group"),
    ("patient", "act_below_saturation"),
    ("tube", "sits_on_it"),
    ("tube", "inner_tube"),
    ("suction", "depth_cm"),
    ("suction", "seconds"),
    ("helper", "usual"),
)
"""What the account quotes of the plan, in numbers and in the words of `PLAIN`."""

PLAIN = frozenset(
    ["yes", "no", "none", "open", "hard", "partly", "child", "infant", "adult", "cap", "valve", "filter", "air", "water", "cycle", "change", "D", "E", "M", "G", "H", "K"]
) | {"not ordered", "breaths first", "pushes first"}
"""The plan's own vocabulary: says nothing about who it is."""

WORDS_OF_PEOPLE = ("address", "callback", "clinician", "door", "helper", "hospital", "name", "number")
"""The words of the opening event's `variant` that name somebody or somewhere."""

LEFT_OUT = "[left out]"

_TITLES = frozenset(["Doctor", "Nurse", "Hospital", "Children", "Clinic", "Street", "Road", "Row", "Lane", "The", "Side", "Door", "One"])
_APPROVAL = (
    ("approved by", "approved (by whom is left out)."),
    ("no longer approved", "no longer approved."),
    ("changed since", "changed since its approval."),
    ("not approved", "not approved by a clinician."),
    ("an invented demonstration", "an invented demonstration: never use it for a person."),
)


def without_names(reading: Reading) -> Reading:
    """The same events with only what the account may tell of anybody's emergency."""
    if not reading.events:
        return reading
    secrets = _secrets(reading.events)
    events = [_event(event, secrets) for event in reading.events]
    first = reading.events[0]
    events[0] |= {"check": _other_id(str(first.get("check", "")))}
    if first.get("kind") == "opened":
        events[0] |= _opened(first)
    return replace(reading, events=events, last_digest="")


def _other_id(check: str) -> str:
    """Tells incidents apart; the journal's own number would lead back to it at a glance."""
    return hashlib.sha256(f"without names {check}".encode()).hexdigest()[:16]


def _event(event: dict[str, Any], secrets: re.Pattern[str] | None) -> dict[str, Any]:
    kind = event["kind"] if event["kind"] in KINDS else "other"
    allowed = TEXTS | set(MORE_TEXTS.get(kind, ()))
    kept: dict[str, Any] = {}
    for name, value in event.items():
        if kind == "other" and name not in FRAME:
            continue
        if value is None or isinstance(value, bool | int | float):
            kept[name] = value
        elif isinstance(value, str) and name in allowed:
            kept[name] = secrets.sub(LEFT_OUT, value) if secrets else value
    if kind == "note":
        kept["text"] = LEFT_OUT
    return kept | {"at": event["at"], "kind": kind}


def _opened(event: dict[str, Any]) -> dict[str, Any]:
    """Plan and flow as far as the account quotes them, as JSON, which is YAML."""
    facts = PlanFacts(Timed(0.0, event))
    plan: dict[str, Any] = {}
    for group, name in PLAN_FACTS:
        value = facts.get(group, name)
        if value is not None and _is_plain(value):
            plan.setdefault(group, {})[name] = value
    for name in ("ventilator", "demonstration", "call_after_s"):
        value = mapping(event.get("plan_text")).get(name)
        if value is not None and _is_plain(value):
            plan[name] = value
    version = re.search(r"^version:[ \t]+(\d[\d.]*)[ \t]*$", str(event.get("flow_text")), re.MULTILINE)
    told = event.get("approval")
    return {
        "plan_text": json.dumps(plan) if plan else None,
        "flow_text": f"version: {version[1]}\n" if version else None,
        "approval": {
            what: next((says for start, says in _APPROVAL if str(text).startswith(start)), LEFT_OUT)
            for what, text in told.items()
            if what in ("plan", "flow")
        }
        if isinstance(told, dict)
        else None,
    }


def _is_plain(value: Any) -> bool:
    if isinstance(value, list):
        return all(map(_is_plain, value))
    return isinstance(value, bool | int | float) or (isinstance(value, str) and value in PLAIN)


def _secrets(events: list[dict[str, Any]]) -> re.Pattern[str] | None:
    """Matches every text of every plan in the record, as written and as spoken."""
    found: set[str] = set()
    for event in events:
        plan = mapping(event.get("plan_text")) or _values(event.get("plan_text"))
        words = event.get("variant")
        words = words.get("words") if isinstance(words, dict) else None
        said = {k: words[k] for k in WORDS_OF_PEOPLE if k in words} if isinstance(words, dict) else {}
        found.update(text.strip() for text in (*_leaves(plan), *_leaves(said)))
    patterns = {p for text in found - PLAIN if text for p in _ways(text)}
    ordered = sorted(patterns, key=len, reverse=True)  # the whole address before one of its words
    return re.compile("|".join(ordered), re.IGNORECASE) if ordered else None


def _values(text: Any) -> list[str]:
    """What stands in the lines of a plan that cannot be read as one: who it names must not be told for that."""
    found = re.findall(r"[:\-][ \t]+(.+?)[ \t]*(?:#.*)?$", text, re.MULTILINE) if isinstance(text, str) else []
    return [value.strip("\"'[]{}, ") for value in found]


def _leaves(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for part in value.values():
            yield from _leaves(part)
    elif isinstance(value, list):
        for part in value:
            yield from _leaves(part)
    elif isinstance(value, str):
        yield value


def _ways(text: str) -> Iterator[str]:
    """The text as such, without its last full stop, digit by digit, and the names within it."""
    bare = text.rstrip(".,")
    if bare:
        yield rf"(?<!\w){re.escape(bare)}(?!\w)"
    digits = re.findall(r"\d", text)
    if len(digits) >= 3:
        yield r"(?<!\d)" + r"\D{0,4}".join(digits) + r"(?!\d)"
    all_words = re.findall(r"[^\W\d_]{3,}", text)
    is_sentence = any(word[0].islower() for word in all_words)  # whose first word is any word
    for word in all_words[is_sentence:]:
        if word[0].isupper() and word not in _TITLES:
            yield rf"(?<!\w){re.escape(word)}(?!\w)"
