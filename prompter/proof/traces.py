"""A way to a fault, as a file: written by the check, walked again by `prompter flow replay`."""

import json
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, TypeAdapter, ValidationError

from prompter.errors import CannotDo
from prompter.events import KINDS, Moved, Pace, Record, Refused, Say, Ticked, from_record
from prompter.flow.document import Flow
from prompter.flow.machine import FlowMachine
from prompter.flow.table import Variant, build
from prompter.proof import properties
from prompter.proof.found import Path, Walked
from prompter.proof.scene import Scene
from prompter.proof.silence import FIRST, walk_silence
from prompter.proof.variants import AGES, CALL_AFTER_ALONE_S, CALL_AT_ONCE_S, WORDS, Facts, numbers
from prompter.proof.watch import Edge, Findings, Watch, follow
from prompter.replay import EVENTS

FORMAT = "trace-1"
SILENCE_MOST = 10_000
"""Things that one silence may bring: more is no trace of the check's."""
SILENT_PROPERTIES = frozenset({p.name for p in FIRST.values()} | {"silence to the call"})


@dataclass(frozen=True)
class Trace:
    """`events`: records from outside; a number is so many things that silence brings."""

    flow: str
    name: str
    detail: str
    age: str
    helper: bool
    facts: frozenset[str]
    events: tuple[Record | int, ...]
    start: str = ""


def trace_of(flow: str, name: str, detail: str, path: Path) -> Trace:
    """With the plan settled: what the fault does not depend on is settled the simplest way."""
    return Trace(flow, name, detail, path.age, path.helper, Facts(path.decided).settled(), tuple(path.events), path.start)


def write(trace: Trace, file: FilePath) -> None:
    body = {
        "trace": FORMAT, "flow": trace.flow, "property": trace.name, "detail": trace.detail, "age": trace.age, "helper": trace.helper, "start": trace.start,
        "facts": sorted(trace.facts),
        "events": [{"silence": e} if isinstance(e, int) else e.to_record() for e in trace.events],
    }  # fmt: skip
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(json.dumps(body, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def read(file: FilePath) -> Trace:
    """Raises CannotDo for anything that is no trace."""
    try:
        body = _Body.model_validate_json(file.read_bytes())
    except OSError as error:
        raise CannotDo(f"cannot be read: {error.strerror}.", str(file), "Name a file that `prompter flow check` has written.") from None
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(map(str, first["loc"]))
        raise CannotDo(f"this is no trace: {f'`{where}`: ' if where else ''}{first['msg']}.", str(file), "Name a file that `prompter flow check` has written.") from None
    return Trace(body.flow, body.property, body.detail, body.age, body.helper, frozenset(body.facts), tuple(body.events), body.start)


def _event(body: object) -> Record | int:
    """A record of its own kind, or how many things silence brings. Raises ValueError."""
    if not isinstance(body, dict):
        raise ValueError("an event has names and values")
    if "silence" in body:
        return TypeAdapter(Annotated[int, Field(strict=True, ge=0, le=SILENCE_MOST)]).validate_python(body["silence"])
    kind = KINDS.get(str(body.get("kind")))
    if kind is None or kind.kind not in EVENTS:
        raise ValueError("no kind of event that there is")
    record = json.dumps({name: value for name, value in body.items() if name != "kind"})
    return TypeAdapter(kind).validate_json(record, strict=True)  # as JSON: in Python a record would have to be one already


class _Body(BaseModel):
    """The file."""

    model_config = ConfigDict(strict=True, extra="forbid")

    trace: Literal[FORMAT]  # type: ignore[valid-type]
    flow: str
    property: str
    detail: str
    age: Literal[*AGES]  # type: ignore[valid-type]
    helper: bool
    start: str = ""
    facts: list[str]
    events: list[Annotated[Any, PlainValidator(_event)]]


def variant_of(trace: Trace) -> Variant:
    """The plan of a trace, whole."""
    late = trace.name in SILENT_PROPERTIES and trace.helper
    facts = trace.facts | {trace.age} | ({"helper"} if trace.helper else set())
    return Variant(facts, WORDS, numbers(trace.age, trace.helper, True, CALL_AT_ONCE_S if late else CALL_AFTER_ALONE_S))


def replay(trace: Trace, flow: Flow) -> tuple[list[str], dict[str, str]]:
    """Walks it again on the machine as it runs in an emergency; returns what happened, and what failed."""
    if trace.start and trace.start not in flow.steps:
        raise CannotDo(f"the flow has no step `{trace.start}` to start at.", f"{flow.flow}, trace of '{trace.name}'", "Name the flow that the trace is of.")
    flow = flow.model_copy(update={"start": trace.start or flow.start})
    table = build(flow, variant_of(trace))
    scene, watch, found, told = Scene(FlowMachine(table)), Watch(), Findings(), []
    scene.start()
    _look(scene, watch, found, None, "", told, Before(scene))
    for event in trace.events:
        if isinstance(event, int):
            for _ in range(event):
                before = Before(scene)
                scene.pass_time()
                _look(scene, watch, found, None, before.step, told, before)
            continue
        if isinstance(event, Ticked):
            scene.happen(event)
            continue
        before = Before(scene)
        told.append(f"{scene.now / 1000:8.2f} s   « {_said(event)}")
        try:
            scene.happen(_at(event, scene.now))
        except Exception as error:  # noqa: BLE001 - that is what a trace may be about
            found.fail("nothing stops the machine", f"{type(error).__name__}: {error}")
            break
        _look(scene, watch, found, event, before.step, told, before)
    if trace.name in SILENT_PROPERTIES:
        into = Walked(trace.age)
        walk_silence(flow, table, trace.age, into, plans=[(trace.helper, table.variant.numbers["call_after_s"])], facts=trace.facts, starts=[flow.start])
        found.failed |= into.findings.failed
    return told, found.failed


class Before:
    """How it stood before an event."""

    def __init__(self, scene: Scene) -> None:
        machine = scene.machine
        self.step, self.memory = machine.step, machine.memory.copy()


def _look(scene: Scene, watch: Watch, found: Findings, event: Record | None, step: str, told: list[str], before: Before) -> None:
    edge = Edge(event, step, before.memory, scene, _AllFacts(scene))
    already = set(found.failed)
    properties.look(watch, edge, found)
    follow(watch, edge)
    properties.look_after(watch, edge, found)
    for cue in scene.cues:
        if isinstance(cue, Say):
            told.append(f"{cue.at_ms / 1000:8.2f} s   {cue.text}")
        elif isinstance(cue, Moved):
            told.append(f"{cue.at_ms / 1000:8.2f} s   {cue.machine}: {cue.source or 'start'} → {cue.target} ({cue.how})")
        elif isinstance(cue, Pace):
            told.append(f"{cue.at_ms / 1000:8.2f} s   beat: {cue.what}{f', {cue.count}' if cue.count else ''}")
        elif isinstance(cue, Refused):
            told.append(f"{cue.at_ms / 1000:8.2f} s   not taken: {cue.why}")
    for name in found.failed.keys() - already:
        told.append(f"{scene.now / 1000:8.2f} s   ✗ {name}: {found.failed[name]}")


class _AllFacts:
    """A settled plan's facts, as the properties ask for them."""

    def __init__(self, scene: Scene) -> None:
        self._facts = scene.machine.table.variant.facts or frozenset()

    def __contains__(self, fact: object) -> bool:
        return fact in self._facts


def _at(event: Record, now: int) -> Record:
    return from_record({**event.to_record(), "at_ms": now})


def _said(event: Record) -> str:
    record = event.to_record()
    return " ".join(str(record[k]) for k in ("kind", "answer", "quantity", "value", "part") if record.get(k) not in (None, ""))
