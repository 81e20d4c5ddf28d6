"""What changed between two flows or two plans, in sentences a clinician reads: not a text diff.

Every leaf of both is compared, so nothing that can be heard or timed changes unseen.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from prompter.care.plan import Plan
from prompter.flow.document import Flow
from prompter.papers.words import FIELDS, QUOTED, shown

_GROUPS = {
    "steps": "Step", "ways": "Way", "effects": "Effect", "answers": "Answer", "everywhere": "At every step,",
    "joined": "Flow",
}  # fmt: skip
_NAMES = {"steps": "step", "ways": "way", "effects": "effect", "answers": "answer", "everywhere": "answer at every step", "joined": "flow"}
_ALONE = {"rules": "Rule", "call": "The emergency call", "summary": "What “tell them” says"}


def flow_changes(before: Flow, after: Flow) -> list[str]:
    """One sentence a change, in the order of the file; empty if both mean the same."""
    a, b = _dump(before), _dump(after)
    found: list[str] = []
    for name in dict.fromkeys([*a, *b]):
        old, new = a.get(name), b.get(name)
        if name in _GROUPS:
            found += _group(name, old, new, a if name == "steps" else {}, b if name == "steps" else {})
        else:
            found += _compare(_ALONE.get(name, "The flow"), name if name not in _ALONE else "", old, new)
    return found


def plan_changes(before: Plan | None, after: Plan | None) -> list[str]:
    """The same for care plans; None is "no plan"."""
    if before is None or after is None:
        if before is after:
            return []
        return ["There is a care plan now, before there was none." if after else "There is no care plan any more."]
    return list(_plan_part("Plan", before, after))


def _plan_part(subject: str, before: BaseModel, after: BaseModel) -> Iterator[str]:
    for name, field in type(before).model_fields.items():
        old, new = getattr(before, name), getattr(after, name)
        if old == new and type(old) is type(new):
            continue
        if isinstance(old, BaseModel) and isinstance(new, BaseModel):
            yield from _plan_part(f"{subject}, {name}", old, new)
            continue
        old, new = (v.model_dump() if isinstance(v, BaseModel) else v for v in (old, new))
        yield f"{subject}, {field.description}: {shown(new)} instead of {shown(old)}."


def _dump(flow: Flow) -> dict[str, Any]:
    data = flow.model_dump(mode="json")
    # In which file a step stands is neither heard nor timed.
    joined = {name: {k: v for k, v in body.items() if k != "steps"} for name, body in data.get("joined", {}).items()}
    return data | {"joined": joined}


def _group(name: str, old: Mapping[str, Any], new: Mapping[str, Any], a: Any, b: Any) -> Iterator[str]:
    for key in dict.fromkeys([*old, *new]):
        subject = f"{_GROUPS[name]} '{key}'"
        if key not in new:
            yield f"The {_NAMES[name]} '{key}'{_title(a, key)} is gone."
        elif key not in old:
            yield f"New {_NAMES[name]} '{key}': {shown(new[key])}."
        else:
            yield from _compare(subject, "", old[key], new[key])


def _title(flow: Mapping[str, Any], step: str) -> str:
    title = flow.get("steps", {}).get(step, {}).get("title")
    return f" ({title})" if title else ""


def _compare(subject: str, field: str, old: Any, new: Any) -> Iterator[str]:
    if old == new and type(old) is type(new):
        return
    if isinstance(old, dict) and isinstance(new, dict):
        if field == "answers":
            subject, field = f"{subject}, answer", ""
            for key in dict.fromkeys([*old, *new]):
                if key not in new:
                    yield f"{subject} '{key}' is no longer taken."
                elif key not in old:
                    yield f"{subject} '{key}' is new: {shown(new[key])}."
                else:
                    yield from _compare(f"{subject} '{key}'", "", old[key], new[key])
            return
        place = f"{subject}, {FIELDS.get(field, field.replace('_', ' '))}".rstrip(", ") if field in _PLACES else subject
        for key in dict.fromkeys([*old, *new]):
            yield from _compare(place, key, old.get(key), new.get(key))
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new) and _of_groups(old + new):
        for number, (one, other) in enumerate(zip(old, new, strict=True), 1):
            yield from _compare(_numbered(subject, field, number, len(old)), "" if field != "say" else "say", one, other)
    else:
        yield f"{subject}: {_sentence(field, old, new)}."


_PLACES = {"learn", "beat", "enter", "numbers"}


def _of_groups(items: list[Any]) -> bool:
    return bool(items) and all(isinstance(item, dict) for item in items)


def _numbered(subject: str, field: str, number: int, count: int) -> str:
    place = {"silent": "silence", "say": "what is said", "ask": "the question", "then_say": "what is said then"}.get(field, "")
    subject = f"{subject}, {place}" if place else subject
    return subject if count == 1 else f"{subject}, line {number}"


def _sentence(field: str, old: Any, new: Any) -> str:
    words = FIELDS.get(field, field.replace("_", " "))
    if "{}" in words:
        if isinstance(new, bool) or isinstance(old, bool):
            words = words.replace("{}", "").strip()
        else:
            # "silent branch after 20 s instead of 30 s"
            head, _, unit = words.partition("{}")
            first, second = (f"{_quoted(field, v)}{unit if v is not None else ''}" for v in (new, old))
            return f"{head}{first} instead of {second}"
    return f"{words} {shown(new)} instead of {shown(old)}".strip()


def _quoted(field: str, value: Any) -> str:
    return f"“{value}”" if field in QUOTED and isinstance(value, str) else shown(value)
