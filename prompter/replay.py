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
    Resumed,
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
from prompter.flow.table import build
from prompter.journal.line import FRAME
from prompter.journal.repair import SALVAGED
from prompter.opening import variant_of

EVENTS = {cls.kind for cls in (Started, Resumed, Answered, Numbered, Unclear, SpeechStarted, SpeechEnded, PromptEnded, Ticked, Failed, Recovered)}
CUES = {cls.kind for cls in (Say, Tone, Pace, PaceStopped, Moved, Learned, Refused, Closed)}


RESTORED = "restored"
"""Marks a cue that had not reached the disk when the program stopped: whether it was carried out is
not known."""

_NOT_OURS = (TypeError, ValueError, LookupError, AttributeError, ArithmeticError)
"""What a value of another sort leads to."""

_NOT_OF_THE_CUE = FRAME | {"due_ms", RESTORED, SALVAGED}


@dataclass(frozen=True)
class Replay:
    """`first_difference`: None, or the journal's `seq` with what was written and what comes now."""

    cues: int
    first_difference: dict[str, Any] | None

    @property
    def same(self) -> bool:
        return self.first_difference is None


@dataclass(frozen=True)
class Walked:
    """The machine after the last event (or up to the first difference), and the cues of that event
    which are not in the journal."""

    machine: FlowMachine
    cues: int
    waiting: list[Record]
    first_difference: dict[str, Any] | None


def replay(events: list[dict[str, Any]], name: str, flow_text: str | None = None) -> Replay:
    """`events`: a journal's lines in order; `flow_text`: another protocol than the one embedded.

    A journal that was left open may lack the last cues: the program stopped before they were
    written. Raises CannotDo if it does not begin with a readable flow.
    """
    return replayed(events, machine_of(events, name, flow_text))


def replayed(events: list[dict[str, Any]], machine: FlowMachine) -> Replay:
    """As `replay`, with a fresh machine that is at hand."""
    walked = walk(events, machine)
    difference = walked.first_difference
    if walked.waiting and any(event["kind"] == Closed.kind for event in events):
        difference = _difference(events[-1]["seq"], None, walked.waiting[0])
    return Replay(walked.cues, difference)


def walk(events: list[dict[str, Any]], machine: FlowMachine) -> Walked:
    """Feeds a fresh `machine` what the journal holds, and compares what comes."""
    waiting: list[Record] = []
    count = 0
    for event in events[1:]:
        kind = event["kind"]
        if kind in EVENTS:
            if waiting:
                return Walked(machine, count, [], _difference(event["seq"], None, waiting[0]))
            try:
                waiting = list(machine.feed(_as_event(event)))
            except (Bug, *_NOT_OURS) as error:  # a sound line may still hold what no program of ours writes
                difference = {"seq": event["seq"], "written": kind, "now": f"cannot be taken ({error})"}
                return Walked(machine, count, [], difference)
        elif kind in CUES and "why" not in event or kind == Refused.kind:
            now = waiting.pop(0) if waiting else None
            if now is None or _bytes_written(event) != rfc8785.dumps(now.to_record()):
                return Walked(machine, count, [], _difference(event["seq"], event, now))
            count += 1
    return Walked(machine, count, waiting, None)


def machine_of(
    events: list[dict[str, Any]], name: str, flow_text: str | None = None
) -> FlowMachine:
    """A fresh machine for the flow and plan that a journal embeds. Raises CannotDo."""
    first = events[0] if events else {}
    if first.get("kind") != "opened" or "flow_text" not in first or "variant" not in first:
        raise CannotDo("this journal does not embed its flow.", f"{name}:1", "Give a journal that the prompter wrote.")
    text = first["flow_text"] if flow_text is None else flow_text
    from prompter.flow.reading import (
        parse_flow,  # not needed where a protocol is at hand, and long to load
    )

    try:
        return FlowMachine(build(parse_flow(text, f"{name} (its flow)"), variant_of(first["variant"])))
    except _NOT_OURS as error:
        raise CannotDo("its flow or plan is not as the prompter writes it.", f"{name}:1", "Give a journal that the prompter wrote.") from error


def as_line(record: dict[str, Any], at_ms: int) -> dict[str, Any]:
    """The fields of an event or cue as they are journalled at `at_ms`; `walk` reads them again."""
    body = {key: value for key, value in record.items() if key != "at_ms"}
    if record.get("at_ms", at_ms) != at_ms:
        body["due_ms"] = record["at_ms"]  # a deadline's own time, before this event's
    return body


def _as_event(event: dict[str, Any]) -> Record:
    return from_record({**event, "at_ms": event["mono_ms"]})


def _bytes_written(event: dict[str, Any]) -> bytes:
    fields = {k: v for k, v in event.items() if k not in _NOT_OF_THE_CUE}
    return rfc8785.dumps({**fields, "at_ms": event.get("due_ms", event["mono_ms"])})


def _difference(seq: int, written: dict[str, Any] | None, now: Record | None) -> dict[str, Any]:
    return {"seq": seq, "written": written, "now": None if now is None else now.to_record()}
