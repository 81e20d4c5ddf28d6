"""Takes up an emergency that was interrupted: finds its journal and rebuilds the machine from it.

Only a journal that is live, open, young, sound up to a torn tail, and that replays byte for byte is
taken up. Anything else is left alone, and the emergency begins anew: never a wrong "where it was".
"""

import contextlib
import os
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from prompter import limits
from prompter.errors import CannotDo
from prompter.flow.machine import FlowMachine
from prompter.flow.table import Table, build
from prompter.journal import HeldByAnother, Journal, Reading, read
from prompter.journal.reading import sound_lines
from prompter.journal.sealing import is_sealed, own_sealer
from prompter.opening import clock_record, variant_of, variant_record
from prompter.replay import RESTORED, as_line, machine_of, walk

Entry = tuple[dict[str, Any], datetime, int]
"""Fields of a line, its wall clock and its session ms."""

_CLOSED = b'"kind":"closed"'
_TAIL_BYTES = 16_384


@dataclass(frozen=True)
class TakenUp:
    """`journal`: open for going on; None if its disk refuses, then `lines` are to be written elsewhere.

    `last_ms`: session time of the last event on the disk. `gap_ms`: from then until now, None if it
    cannot be known. `restored`: what that event led to and the disk does not have.
    """

    path: Path
    journal: Journal | None
    lines: list[bytes]
    machine: FlowMachine
    last_ms: int
    gap_ms: int | None
    restored: list[Entry]
    utterances: int
    announced: int


@dataclass
class Looked:
    """`found`, or None; `held`: another prompter is running; `why_not`: one line for each left alone."""

    found: TakenUp | None = None
    held: bool = False
    why_not: list[str] = field(default_factory=list)


def look(folders: Iterable[Path], table: Table, flow_text: str, plan_text: str | None) -> Looked:
    """Takes up the newest interrupted emergency below `folders`, if there is one.

    table: the one of `flow_text` and the present plan, used if the journal was begun with the same.
    A journal of another plan is another patient's and is left alone. Never raises.
    """
    looked = Looked()
    for path in _newest(folders):
        try:
            looked.found = _take_up(path, table, flow_text, plan_text)
        except HeldByAnother as error:
            looked.held = True
            looked.why_not.append(error.one_line())
            return looked
        except CannotDo as error:
            looked.why_not.append(error.one_line())
        except Exception as error:  # noqa: BLE001 - whatever a file holds, the emergency begins
            looked.why_not.append(f"{path}: {type(error).__name__}: {error}")
        if looked.found is not None:
            return looked
    return looked


def _newest(folders: Iterable[Path]) -> list[Path]:
    """Journals of ours written lately and not closed, the newest first.

    A journal that was moved when its disk failed is in two folders: the longer one goes on.
    """
    found: dict[str, tuple[int, float, Path]] = {}
    for folder in dict.fromkeys(folders):
        with contextlib.suppress(OSError):
            for path in folder.glob("*.jsonl"):
                with contextlib.suppress(OSError):
                    known = path.stat()
                    mine = os.name != "posix" or known.st_uid == os.getuid()
                    young_s = time.time() - limits.RESUME_CLOCK_BACK_S - limits.RESUME_WITHIN_S
                    this = (known.st_size, known.st_mtime, path)
                    if mine and known.st_mtime >= young_s and this > found.get(path.name, (0, 0.0, path)):
                        found[path.name] = this
    by_time = sorted(found.values(), key=lambda each: each[1], reverse=True)
    newest = [path for _, _, path in by_time[: limits.RESUME_LOOKS]]
    return [path for path in newest if not _surely_closed(path)]


def _surely_closed(path: Path) -> bool:
    """A quick look: this text stands in no value, where its quotes would be escaped; a sealed journal
    is open as long as its own key is there."""
    with contextlib.suppress(OSError), path.open("rb") as file:
        if is_sealed(file.read(64)):
            return own_sealer(path) is None
    with contextlib.suppress(OSError), path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - _TAIL_BYTES))
        return _CLOSED in file.read()
    return False


def _take_up(path: Path, table: Table, flow_text: str, plan_text: str | None) -> TakenUp | None:
    reading = read(path)
    if not reading.events or not _same_emergency(reading, plan_text):
        return None
    fresh, gap_ms = _gap(reading.events)
    if not fresh:
        return None
    journal, reading = _reopened(path, reading)
    try:
        events = reading.events
        if any(event["kind"] == "repaired" for event in events):
            raise CannotDo("a repaired copy is not written on.", str(path))
        if _keeps_failing(events):
            raise CannotDo("the program failed there more than once.", str(path))
        walked = walk(events, _machine(events, path, table, flow_text))
        if walked.first_difference is not None:
            raise CannotDo("this version of the program acts differently.", str(path))
        if walked.machine.closed or not walked.machine.started:
            raise CannotDo("it had not begun, or was over.", str(path))
    except BaseException:
        if journal is not None:
            journal.close()
        raise
    last = events[-1]
    return TakenUp(
        path=path,
        journal=journal,
        lines=list(journal.lines) if journal else sound_lines(path, reading),
        machine=walked.machine,
        last_ms=last["mono_ms"],
        gap_ms=gap_ms,
        restored=_restored(walked.waiting, events),
        utterances=sum(event["kind"] == "heard" for event in events),
        announced=sum(event["kind"] == "announced" for event in events),
    )


def _same_emergency(reading: Reading, plan_text: str | None) -> bool:
    """Live, open, and of this patient: with no plan now, the one it began with goes on."""
    first = reading.events[0]
    same_plan = plan_text is None or first.get("plan_text") in (None, plan_text)
    return first["kind"] == "opened" and first.get("live") is True and not reading.closed and same_plan


def _keeps_failing(events: list[dict[str, Any]]) -> bool:
    """Whether going on there would stop it again."""
    failures = sum(e["kind"] == "fault" and e.get("part") == "program" for e in events)
    tries = 0
    for event in events:
        if event["kind"] == "resumed":
            tries += 1
        elif event["kind"] in ("answered", "numbered", "prompt ended"):
            tries = 0
    return failures >= limits.RESUME_FAILURES or tries >= limits.RESUME_TRIES


def _gap(events: list[dict[str, Any]]) -> tuple[bool, int | None]:
    """Whether it is young enough, and the ms since its last event, None if they cannot be known."""
    last = events[-1]
    clock = next((e["clock"] for e in reversed(events) if isinstance(e.get("clock"), dict)), {})
    now = clock_record(time.monotonic())
    if now["boot"] and clock.get("boot") == now["boot"]:
        gap_ms = now["zero_ms"] - int(clock["zero_ms"]) - last["mono_ms"]
        return gap_ms <= 1000 * limits.RESUME_WITHIN_S, max(0, gap_ms)
    gap_s = (datetime.now().astimezone() - datetime.fromisoformat(last["at"])).total_seconds()
    if gap_s < 0:
        return gap_s >= -limits.RESUME_CLOCK_BACK_S, None
    return gap_s <= limits.RESUME_WITHIN_S, round(1000 * gap_s)


def _reopened(path: Path, reading: Reading) -> tuple[Journal | None, Reading]:
    """The journal and what it holds now that it is ours; without a journal if its disk refuses."""
    if not reading.intact and (not reading.torn_tail or reading.missing):
        raise CannotDo(f"damaged ({reading.problem}).", str(path))
    try:
        journal = Journal.reopen(path)
    except HeldByAnother:
        raise
    except CannotDo:
        return None, reading
    return journal, reading if len(journal.lines) == len(reading.events) else read(path)


def _machine(
    events: list[dict[str, Any]], path: Path, table: Table, flow_text: str
) -> FlowMachine:
    first = events[0]
    if first.get("flow_text") != flow_text:
        return machine_of(events, path.name)
    if first.get("variant") != variant_record(table.variant):
        table = build(table.flow, variant_of(first["variant"]))
    return FlowMachine(table)


def _restored(waiting: list[Any], events: list[dict[str, Any]]) -> list[Entry]:
    last = next((e for e in reversed(events) if e["kind"] != "fault"), events[-1])
    at, at_ms = datetime.fromisoformat(last["at"]), events[-1]["mono_ms"]
    return [({**as_line(cue.to_record(), at_ms), RESTORED: True}, at, at_ms) for cue in waiting]
