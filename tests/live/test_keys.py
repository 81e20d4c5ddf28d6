"""A whole emergency with keys alone, as a caregiver at a terminal; and every way of ending it."""

import os
import signal
import time
from pathlib import Path
from typing import Any

from prompter.journal import verify

CTRL_C = "\x03"


def test_a_whole_emergency_by_keys(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    one.press("1")  # still in place
    one.step("valve-off")
    one.press("\r")  # that's done, as a foot pedal would send it
    one.step("suction")
    one.press("s")  # phone on speaker: works at every step
    one.step("passed", 20)  # the suction seconds run by themselves
    one.press("1")  # all the way
    one.step("look")
    one.press("1")  # moving
    one.step("lips")
    one.press("1")  # breathing fine
    time.sleep(0.3)
    one.press("1")  # good news is said twice
    one.step("number")
    one.press("#97\r")
    events = one.step("watch")
    answers = [e["answer"] for e in events if e["kind"] == "answered"]
    assert answers == ["in place", "done", "on speaker", "passed", "moving", "better", "better"]
    assert [e["value"] for e in events if e["kind"] == "numbered"] == [97]
    assert {e["how"] for e in events if e["kind"] in ("answered", "numbered")} == {"keyed"}
    one.press("f")
    time.sleep(0.3)
    one.press("f")  # finished, twice
    one.step("closing")
    one.press("1")  # close it now
    for step in ("debrief", "debrief-bag", "debrief-phone"):
        one.step(step)
        one.press("\r")  # done
    assert one.wait(25) == 0
    reading = verify(one.journal)
    assert reading.intact and reading.closed
    assert reading.events[-1]["kind"] != "opened"
    assert [e["outcome"] for e in reading.events if e["kind"] == "closed"] == ["better"]


def test_the_first_line_holds_what_replay_needs(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    first = one.wait_for(bool)[0]
    assert first["kind"] == "opened" and first["live"] is True
    assert first["plan_text"] == plan_file.read_text(encoding="utf-8")
    assert "flow: breathing-trouble" in first["flow_text"]
    assert first["variant"]["words"]["name"] == "Juno"


def test_ctrl_c_asks_once_and_then_closes(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    before = one.settings()
    one.step("tube-check")
    one.read(0.7)
    one.press(CTRL_C)
    one.wait_for(lambda events: any(e["kind"] == "announced" for e in events))
    one.read(0.7)
    assert b"Ctrl-C again to close" in one.seen
    one.press(CTRL_C)
    assert one.wait() == 0
    assert one.settings() == before
    last = verify(one.journal).events[-1]
    assert (last["kind"], last["why"]) == ("closed", "ctrl-c")


def test_an_answer_takes_the_wish_to_close_back(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    one.read(0.7)
    for keys in (CTRL_C, "1", CTRL_C):
        one.press(keys)
        one.read(0.4)
    one.step("valve-off")
    assert not any(e["kind"] == "closed" for e in one.events())


def test_it_goes_on_when_the_window_is_closed(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    one.read(0.7)
    one.hang_up()
    lost = []
    end = time.monotonic() + 20
    while time.monotonic() < end and not {"valve-off", "screen", "keys"} <= {*lost}:
        events = one.events()
        lost = [e["part"] for e in events if e["kind"] == "failed"]
        lost += [e["target"] for e in events if e["kind"] == "moved"]
        time.sleep(0.2)
    assert {"screen", "keys", "valve-off"} <= set(lost)  # silence led on
    os.kill(one.pid, signal.SIGTERM)
    os.waitpid(one.pid, 0)
    one.pid = 0
    reading = verify(one.journal)
    assert reading.intact and reading.events[-1]["kind"] == "closed"


def test_the_record_is_sound_after_a_kill(terminal: Any, plan_file: Path) -> None:
    one = terminal("--plan", str(plan_file), "--keys-only")
    one.step("tube-check")
    one.press("1")
    one.step("valve-off")
    os.kill(one.pid, signal.SIGKILL)
    assert one.wait() == -signal.SIGKILL
    reading = verify(one.journal)
    assert reading.events and (reading.intact or reading.torn_tail)
    assert not reading.closed
    assert "in place" in [e.get("answer") for e in reading.events]


def test_nothing_leaves_this_machine(terminal: Any, plan_file: Path) -> None:
    """The kernel's own list of internet sockets holds none of this process, whatever library it uses."""
    one = terminal("--plan", str(plan_file))  # with the ears, which could fetch something
    one.wait_for(lambda events: any(e["kind"] == "failed" and e["part"] == "microphone" for e in events) or len(events) > 12, 15)
    one.read(4)
    held = set()
    for entry in Path(f"/proc/{one.pid}/fd").iterdir():
        try:
            target = os.readlink(entry)
        except FileNotFoundError:  # closed while we looked: a clip's or the journal's file
            continue
        if target.startswith("socket:["):
            held.add(target[8:-1])
    internet = set()
    for name in ("tcp", "tcp6", "udp", "udp6", "raw", "raw6"):
        table = Path(f"/proc/{one.pid}/net/{name}")
        if table.exists():
            internet |= {line.split()[9] for line in table.read_text().splitlines()[1:]}
    assert not held & internet
