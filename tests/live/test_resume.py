"""Killed in the middle and started again: it goes on where it was and says so (real processes, no sound card)."""

import os
import resource
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from prompter.journal import keys, read
from prompter.live import notices
from prompter.replay import replay

CTRL_C = "\x03"


def kill(one: Any) -> None:
    os.kill(one.pid, signal.SIGKILL)
    assert one.wait() == -signal.SIGKILL


def close(one: Any) -> None:
    one.press(CTRL_C)
    one.read(0.7)
    one.press(CTRL_C)
    assert one.wait() == 0


def resumed(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [e for e in events if e["kind"] == "resumed"]


def continuing(events: list[dict[str, Any]]) -> list[str]:
    return [e["text"] for e in events if e["kind"] == "say" and e["text"].startswith("Continuing")]


def test_it_goes_on_where_it_was_after_each_of_two_kills(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    one.press("1")
    one.step("valve-off")
    kill(one)
    two = terminal("--plan", str(plan_file), "--keys-only")
    events = two.wait_for(resumed)
    at = events.index(resumed(events)[0])
    says = two.wait_for(lambda e: [x for x in e[at:] if x["kind"] == "prompt started"])
    assert [e["text"] for e in says[at:] if e["kind"] == "say"][:2] == ["Continuing. Cap or valve off.", says[at + 2]["text"]]
    assert says[at]["gap_ms"] == says[at]["mono_ms"] - says[at - 2]["mono_ms"]
    two.press("\r")
    two.step("suction")
    kill(two)
    three = terminal("--plan", str(plan_file), "--keys-only")
    events = three.wait_for(lambda e: len(continuing(e)) == 2)
    assert continuing(events)[-1] == "Continuing. Suction."
    close(three)
    reading = read(one.journal)
    assert reading.intact and reading.closed and replay(reading.events, "x").same
    assert [e["kind"] for e in reading.events].count("opened") == 1
    assert [p.suffix for p in sorted(one.out.iterdir())] == [".jsonl", ".head"]
    reopened = next(e for e in reading.events if e["kind"] == "reopened")
    assert reopened["version"] and reopened["versions"]["python"] and reopened["settings"]["keys_only"]


def test_a_closed_emergency_and_one_begun_anew_start_at_the_beginning(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    kill(one)
    two = terminal("--plan", str(plan_file), "--keys-only", "--new")
    two.read(3)
    journals = sorted(two.out.glob("*.jsonl"))
    assert len(journals) == 2 and not resumed(read(journals[1]).events)
    assert [e["kind"] for e in read(journals[1]).events].count("started") == 1


def test_a_second_prompter_says_so_and_keeps_a_journal_of_its_own(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    two = terminal("--plan", str(plan_file))
    events, end_s = [], time.monotonic() + 40
    while time.monotonic() < end_s and not any(e["kind"] == "announced" for e in events):
        two.read(0.1)
        journals = sorted(two.out.glob("*.jsonl"))
        events = read(journals[-1]).events if len(journals) == 2 else []
    assert next(e["text"] for e in events if e["kind"] == "announced") == notices.ANOTHER_RUNS
    assert events[0]["settings"]["keys_only"] is True  # two that listen would hear each other
    assert "second prompter" in [e["part"] for e in events if e["kind"] == "failed"]
    close(two)
    one.press("1")
    one.step("valve-off")
    close(one)
    assert all(read(path).intact for path in journals)


def test_the_record_moves_when_the_folder_refuses_and_it_still_goes_on(terminal: Any, plan_file: Path, tmp_path: Path) -> None:
    (tmp_path / "record").write_text("a file where the folder should be")
    kept = tmp_path / "home" / "journals"
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.out = kept
    one.step("tube-check")
    one.press("1")
    one.step("valve-off")
    kill(one)
    two = terminal("--plan", str(plan_file), "--keys-only")
    two.out = kept
    events = two.wait_for(resumed)
    assert [e["target"] for e in events if e["kind"] == "moved" and e["machine"] == "care"][-1] == "valve-off"
    two.wait_for(lambda e: any(x["kind"] == "prompt started" for x in e[e.index(resumed(e)[0]) :]))


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_only_its_owner_can_read_the_record(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    assert one.out.stat().st_mode & 0o777 == 0o700
    assert {p.stat().st_mode & 0o777 for p in one.out.iterdir()} == {0o600}


@pytest.mark.parametrize("key", ["sound", "broken"])
def test_an_encrypted_emergency_goes_on_and_a_broken_key_stops_nothing(
    terminal: Any, plan_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    public, private = keys.new_key(None)
    (tmp_path / "home" / keys.PUBLIC).write_text(public if key == "sound" else "nothing")
    (tmp_path / "stick").write_bytes(private)
    monkeypatch.setenv(keys.KEY_VARIABLE, str(tmp_path / "stick"))
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.events = lambda: read(one.journal).events if one.journal.exists() else []
    if key == "broken":
        events = one.wait_for(lambda e: any(x["kind"] == "announced" for x in e))
        assert notices.NOT_SEALED in [e["text"] for e in events if e["kind"] == "announced"]
        assert b'"kind"' in one.journal.read_bytes()
        return
    one.step("tube-check")
    one.press("1")
    one.step("valve-off")
    kill(one)
    assert b"Juno" not in one.journal.read_bytes() and b"valve" not in one.journal.read_bytes()
    monkeypatch.delenv(keys.KEY_VARIABLE)  # who goes on in an emergency has no key at hand
    two = terminal("--plan", str(plan_file), "--keys-only")
    two.events = lambda: read(two.journal).events if two.journal.exists() else []
    events = two.wait_for(resumed)
    assert [e["target"] for e in events if e["kind"] == "moved" and e["machine"] == "care"][-1] == "valve-off"
    close(two)
    monkeypatch.setenv(keys.KEY_VARIABLE, str(tmp_path / "stick"))
    assert read(one.journal).closed


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="needs Linux: a process's limits set from outside")
def test_a_full_disk_stops_nothing_and_nothing_is_lost_when_there_is_room_again(terminal: Any, plan_file: Path, tmp_path: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    one.read(1)
    soft, hard = resource.prlimit(one.pid, resource.RLIMIT_FSIZE)
    full = one.journal.stat().st_size + 100  # room for half a line
    resource.prlimit(one.pid, resource.RLIMIT_FSIZE, (full, hard))
    one.press("1")
    one.read(3)
    before = one.seen
    one.press("\r")
    one.read(2)
    assert one.journal.stat().st_size <= full
    assert len(one.seen) > len(before) and b"Suction" in one.seen[len(before) :]  # it goes on
    resource.prlimit(one.pid, resource.RLIMIT_FSIZE, (soft, hard))
    moved = tmp_path / "home" / "journals"
    one.out = moved if list(moved.glob("*.jsonl")) else one.out  # as far as it fitted, it was written there
    events = one.wait_for(lambda e: any(x["kind"] == "recovered" and x["part"] == "disk" for x in e))
    assert [e["answer"] for e in events if e["kind"] == "answered"] == ["in place", "done"]
    assert any(e["kind"] == "failed" and e["part"] == "disk" for e in events)
    close(one)
    reading = read(one.journal)
    assert reading.intact and reading.closed and replay(reading.events, "x").same
