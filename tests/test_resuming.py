"""An interrupted emergency goes on where it was, and only the right one does."""

import os
import shutil
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from prompter import limits, resuming
from prompter.events import Answered, PromptEnded, Resumed, Say, Started, Ticked
from prompter.flow.engine import Engine
from prompter.flow.family import family_text
from prompter.flow.machine import FlowMachine
from prompter.flow.table import Table
from prompter.journal import Journal, read
from prompter.opening import clock_record, opened_record
from prompter.replay import replay
from prompter.resources import flow_file
from prompter.session import Session, Timing
from prompter.speak.mixer import Mixer

FLOW = family_text(flow_file("breathing-trouble"))
RATE_HZ = 1_000  # nobody listens here
CLIP = np.full(RATE_HZ // 2, 0.1, np.float32)


class Stopped(Exception):
    """The power goes."""


class UpTo:
    """Journals so many events, and then the power goes."""

    def __init__(self, journal: Journal, count: int) -> None:
        self.journal, self.left = journal, count

    def append(self, record: dict[str, Any], at: datetime, mono_ms: int) -> None:
        if not self.left:
            raise Stopped
        self.left -= 1
        self.journal.append(record, at, mono_ms)


ENGINES: dict[int, Any] = {}


def engine(table: Table) -> Any:
    """Made once: it holds nothing of an emergency, and making it takes longer than the emergency."""
    if id(table) not in ENGINES:
        ENGINES[id(table)] = Engine(table)
    return ENGINES[id(table)]


def run(table: Table, sink: Any, began: datetime, keys: dict[int, str], end_ms: int, before: Any = None) -> Session:
    mixer = Mixer(RATE_HZ, lambda text: CLIP)
    machine = before.machine if before else FlowMachine(table, engine(table))
    session = Session(table, mixer, Timing(began, lambda p: p * 1000 // RATE_HZ), sink, machine=machine)
    now = before.last_ms + before.gap_ms if before else 0
    zero = now
    if before:
        session.resume(now, before.gap_ms)
    else:
        session.start(0)
    while now < end_ms:
        now += 32
        mixer.render((now - zero) * RATE_HZ // 1000 - mixer.position)
        session.turn(now)
        for at, key in list(keys.items()):
            if at <= now:
                session.press(keys.pop(at), now)
    return session


Write = Callable[..., Path]


@pytest.fixture
def interrupted(tmp_path: Path, demo_table: Table) -> Write:
    """`interrupted(events=60)`: the journal of an emergency whose power went after so many events."""

    def write(name: str = "a", events: int = 60, ago_s: float = 20.0, boot: dict[str, Any] | None = None, **first: Any) -> Path:
        began = datetime.now().astimezone() - timedelta(seconds=ago_s + 25)
        opened = opened_record(
            flow_text=FLOW, plan_text="the plan", plan_name="p", variant=demo_table.variant, live=True,
            seed=None, voice=None, ears=[], settings={}, clock=boot,
        )  # fmt: skip
        path = tmp_path / f"{name}.jsonl"
        journal = Journal.create(path, {**opened, **first}, began, 0)
        try:
            run(demo_table, UpTo(journal, events), began, {4_000: "1", 9_000: "1", 24_000: "1"}, 25_000)
        except Stopped:
            pass
        journal.close()
        return path

    return write


def look(path: Path, table: Table, plan: str | None = "the plan") -> resuming.Looked:
    looked = resuming.look([path.parent], table, FLOW, plan)
    if looked.found is not None and looked.found.journal is not None:
        looked.found.journal.close()
    return looked


def test_it_goes_on_where_it_was_and_replays_byte_for_byte(interrupted: Write, demo_table: Table) -> None:
    for count in (31, 32, 50):  # also between an event and its cues
        path = interrupted(f"j{count}", count)
        before = read(path).events
        found = resuming.look([path.parent], demo_table, FLOW, "the plan").found
        assert found is not None and found.path == path and found.journal is not None
        known = [*before, *(entry for entry, _, _ in found.restored)]
        steps = [e["target"] for e in known if e["kind"] == "moved" and e["machine"] == "care"]
        assert found.machine.step == steps[-1]
        for entry in found.restored:
            found.journal.append(*entry)
        run(demo_table, found.journal, datetime.now().astimezone(), {}, found.last_ms + found.gap_ms + 3_000, found)
        found.journal.append({"kind": "closed", "outcome": "open", "why": "test"}, datetime.now().astimezone(), 10**6)
        found.journal.close()
        reading = read(path)
        assert reading.intact and reading.events[: len(before)] == before
        assert replay(reading.events, path.name).first_difference is None
        resumed = next(i for i, e in enumerate(reading.events) if e["kind"] == "resumed")
        assert 19_000 < reading.events[resumed]["gap_ms"] < 60_000
        assert reading.events[resumed + 1]["text"] == demo_table.continuing(steps[-1])


def test_it_says_where_it_was_and_no_silence_is_assumed_for_the_gap(demo_table: Table) -> None:
    machine = FlowMachine(demo_table)
    machine.feed(Started(0))
    machine.feed(Answered(3_000, "in place", "still in place", "keyed"))
    step = machine.step
    cues = machine.feed(Resumed(500_000, 490_000))
    assert machine.step == step
    says = [cue for cue in cues if isinstance(cue, Say)]
    assert says[0].text == f"Continuing. {demo_table.stands[step].title}."
    assert says[1].text == demo_table.stands[step].say[0].text
    assert not [cue for cue in cues if cue.kind in ("moved", "learned")]


def test_the_breaths_of_the_gap_are_missing(demo_table: Table) -> None:
    """Not confirmed better, the next breaths are asked for at once, not 24 s after going on."""
    machine = FlowMachine(demo_table)
    machine.feed(Started(0))
    machine.feed(Answered(3_000, "came out", "it came out", "keyed"))
    assert machine.step == "put-back"
    machine.feed(Resumed(120_000, 100_000))
    cues = machine.feed(Ticked(120_100))
    assert machine.step == "other-breaths" and [c for c in cues if c.kind == "pace"]


def test_what_was_said_before_is_not_waited_for(demo_table: Table) -> None:
    machine = FlowMachine(demo_table)
    cues = machine.feed(Started(0))
    machine.feed(Resumed(60_000, 50_000))
    old = next(cue.cue for cue in cues if isinstance(cue, Say))
    machine.feed(Ticked(60_500))
    assert machine.feed(PromptEnded(60_500, old)) == [] and machine.step == "tube-check"


def test_nothing_goes_on_before_it_has_begun(demo_table: Table) -> None:
    assert [cue.kind for cue in FlowMachine(demo_table).feed(Resumed(5, None))] == ["refused"]


def test_every_step_has_a_line_to_go_on_with_of_at_most_twelve_words(demo_table: Table) -> None:
    for step in demo_table.stands:
        text = demo_table.continuing(step)
        assert len(text.split()) <= demo_table.flow.rules.most_words and text.startswith("Continuing. ")
        assert text[-1] in ".?" and text[-2] not in ".?"


@pytest.mark.parametrize("what", ["closed", "rehearsed", "old", "of another plan", "changed in the middle", "of another flow"])
def test_another_emergency_is_left_alone(interrupted: Write, demo_table: Table, what: str) -> None:
    first: dict[str, Any] = {"live": False} if what == "rehearsed" else {}
    if what == "of another flow":
        first["flow_text"] = FLOW.replace("Off the vent", "Vent off").replace("Cap or valve off", "Valve off").replace("Pull out", "Take out")
    path = interrupted(ago_s=limits.RESUME_WITHIN_S + 30 if what == "old" else 20, **first)
    if what == "closed":
        journal = Journal.reopen(path)
        journal.append({"kind": "closed", "outcome": "better"}, datetime.now().astimezone(), 30_000)
        journal.close()
    elif what == "changed in the middle":
        path.write_bytes(path.read_bytes().replace(b'"role":"question"', b'"role":"Question"', 1))
    plan = "another" if what == "of another plan" else "the plan"
    before = path.read_bytes()
    looked = look(path, demo_table, plan)
    assert (looked.found is None) == (what != "of another flow")
    if what != "of another flow":  # that one goes on with the flow it began with
        assert path.read_bytes() == before


def test_without_a_plan_now_the_one_it_began_with_goes_on(interrupted: Write, demo_table: Table) -> None:
    assert look(interrupted(), demo_table, None).found is not None


def test_the_newest_of_two_goes_on(interrupted: Write, demo_table: Table) -> None:
    old = interrupted("old")
    os.utime(old, (time.time() - 60, time.time() - 60))
    new = interrupted("new")
    found = look(new, demo_table).found
    assert found is not None and found.path == new


def test_of_a_journal_that_moved_to_another_disk_the_longer_one_counts(
    interrupted: Write, demo_table: Table, tmp_path: Path
) -> None:
    """Its disk failed; the whole of it went on in a second folder, and was closed there."""
    old = interrupted()
    (tmp_path / "second").mkdir()
    moved = shutil.copy(old, tmp_path / "second" / old.name)
    journal = Journal.reopen(moved)
    journal.append({"kind": "closed", "outcome": "better"}, datetime.now().astimezone(), 30_000)
    journal.close()
    os.utime(old)
    for folders in ([old.parent, moved.parent], [moved.parent, old.parent]):
        assert resuming.look(folders, demo_table, FLOW, "the plan").found is None


@pytest.mark.parametrize(
    ("more", "goes_on"),
    [
        ([{"kind": "fault", "part": "program"}], True),
        ([{"kind": "fault", "part": "program"}] * limits.RESUME_FAILURES, False),
        ([Resumed(0, 5).to_record()] * limits.RESUME_TRIES, False),
    ],
)
def test_where_the_program_keeps_failing_it_begins_anew(
    interrupted: Write, demo_table: Table, more: list[dict[str, Any]], goes_on: bool
) -> None:
    path = interrupted()
    journal = Journal.reopen(path)
    for record in more:
        fields = {k: v for k, v in record.items() if k != "at_ms"}
        journal.append(fields, datetime.now().astimezone(), 25_000)
    journal.close()
    looked = look(path, demo_table)
    assert (looked.found is not None) == goes_on
    assert goes_on or "failed there" in looked.why_not[0]


def test_a_running_prompter_is_noticed_and_its_journal_left_alone(interrupted: Write, demo_table: Table) -> None:
    path = interrupted()
    other = Journal.reopen(path)
    looked = look(path, demo_table)
    assert looked.held and looked.found is None and "another prompter" in looked.why_not[0]
    other.close()


def test_a_clock_set_back_an_hour_leaves_the_gap_unknown(interrupted: Write, demo_table: Table) -> None:
    found = look(interrupted(ago_s=-3600), demo_table).found
    assert found is not None and found.gap_ms is None
    assert look(interrupted("later", ago_s=-limits.RESUME_CLOCK_BACK_S - 60), demo_table).found.path.name == "a.jsonl"


@pytest.mark.skipif(not clock_record(0.0)["boot"], reason="this system does not tell its boots apart")
@pytest.mark.parametrize("ago_s", [20, -3600, 7200])
def test_after_a_crash_the_gap_is_known_whatever_the_wall_clock_says(interrupted: Write, demo_table: Table, ago_s: float) -> None:
    zero_s = time.monotonic() - 60
    path = interrupted(ago_s=ago_s, boot=clock_record(zero_s))
    os.utime(path)
    found = look(path, demo_table).found
    assert found is not None and found.gap_ms is not None
    assert abs(found.last_ms + found.gap_ms - 60_000) < 5_000


def test_a_disk_that_refuses_does_not_keep_it_from_going_on(interrupted: Write, demo_table: Table, monkeypatch: pytest.MonkeyPatch) -> None:
    path = interrupted()
    before = path.read_bytes()

    def refuses(*_: Any) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("prompter.journal.disk.os.open", refuses)
    found = look(path, demo_table).found
    monkeypatch.undo()
    assert found is not None and found.journal is None
    assert b"".join(found.lines) == before


@pytest.mark.parametrize("content", [b"", b"\x00" * 4096, b'{"v":1}\n', b"[" * 9999])
def test_a_file_that_is_no_journal_is_passed_over(tmp_path: Path, demo_table: Table, content: bytes) -> None:
    (tmp_path / "x.jsonl").write_bytes(content)
    (tmp_path / "folder.jsonl").mkdir()
    assert resuming.look([tmp_path, tmp_path / "none"], demo_table, FLOW, None).found is None


def test_a_torn_last_line_does_not_keep_it_from_going_on(interrupted: Write, demo_table: Table) -> None:
    path = interrupted()
    with path.open("ab") as file:
        file.write(b'{"at":"2026-0')
    found = look(path, demo_table).found
    assert found is not None and read(path).intact
    assert read(path).events[-1]["kind"] == "fault"
    shutil.rmtree(path.parent)
