"""Walks a journal's events through the same core again and compares the cues, byte for byte."""

from dataclasses import dataclass
from typing import Any

import rfc8785

from prompter.errors import Bug, CannotDo
from prompter.events import (
    Answered,
    Closed,
    Failed,
    Learned,
    Moved,
    Numbered,
    Pace,
    PaceStopped,
    PromptEnded,
    Record,
    Recovered,
    Refused,
    Say,
    SpeechEnded,
    SpeechStarted,
    Started,
    Ticked,
    Tone,
    Unclear,
    from_record,
)
from prompter.flow.machine import FlowMachine
from prompter.flow.reading import parse_flow
from prompter.flow.table import build
from prompter.journal.line import FRAME
from prompter.opening import variant_of

EVENTS = {cls.kind for cls in (Started, Answered, Numbered, Unclear, SpeechStarted, SpeechEnded, PromptEnded, Ticked, Failed, Recovered)}
CUES = {cls.kind for cls in (Say, Tone, Pace, PaceStopped, Moved, Learned, Refused, Closed)}


@dataclass(frozen=True)
class Replay:
    """`first_difference`: None, or the journal's `seq` with what was written and what comes now."""

    cues: int
    first_difference: dict[str, Any] | None

    @property
    def same(self) -> bool:
        return self.first_difference is None


def replay(events: list[dict[str, Any]], name: str) -> Replay:
    """`events`: a journal's lines in order. Raises CannotDo if it does not begin with a readable flow."""
    machine = machine_of(events, name)
    waiting: list[Record] = []
    count = 0
    for event in events[1:]:
        kind = event["kind"]
        if kind in EVENTS:
            if waiting:
                return Replay(count, _difference(event["seq"], None, waiting[0]))
            try:
                waiting = list(machine.feed(_as_event(event)))
            except Bug as bug:
                return Replay(count, {"seq": event["seq"], "written": kind, "now": str(bug)})
        elif kind in CUES and "why" not in event or kind == Refused.kind:
            now = waiting.pop(0) if waiting else None
            if now is None or _bytes_written(event) != rfc8785.dumps(now.to_record()):
                return Replay(count, _difference(event["seq"], event, now))
            count += 1
    return Replay(count, _difference(events[-1]["seq"], None, waiting[0]) if waiting else None)


def machine_of(events: list[dict[str, Any]], name: str) -> FlowMachine:
    """A fresh machine for the flow and plan that a journal embeds. Raises CannotDo."""
    first = events[0] if events else {}
    if first.get("kind") != "opened" or "flow_text" not in first or "variant" not in first:
        raise CannotDo("this journal does not embed its flow.", f"{name}:1", "Give a journal that the prompter wrote.")
    return FlowMachine(build(parse_flow(first["flow_text"], f"{name} (its flow)"), variant_of(first["variant"])))


def _as_event(event: dict[str, Any]) -> Record:
    return from_record({**event, "at_ms": event["mono_ms"]})


def _bytes_written(event: dict[str, Any]) -> bytes:
    fields = {k: v for k, v in event.items() if k not in FRAME and k != "due_ms"}
    return rfc8785.dumps({**fields, "at_ms": event.get("due_ms", event["mono_ms"])})


def _difference(seq: int, written: dict[str, Any] | None, now: Record | None) -> dict[str, Any]:
    return {"seq": seq, "written": written, "now": None if now is None else now.to_record()}
