"""A person at a terminal: runs `prompter respond` in a pseudo-terminal, presses keys and reads."""

import contextlib
import fcntl
import json
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

PROGRAM = Path(sys.executable).with_name("prompter")


class Terminal:
    """`folder` holds this person's home and the record. `seen` is all that was drawn so far."""

    def __init__(self, folder: Path, *words: str, columns: int = 100, rows: int = 40) -> None:
        self.out = folder / "record"
        self.seen = b""
        self.pid, self.master = pty.fork()
        if self.pid == 0:
            os.environ |= {"PROMPTER_HOME": str(folder / "home"), "TERM": "xterm-256color"}
            os.execv(PROGRAM, [str(PROGRAM), "respond", "--out", str(self.out), *words])
        self.resize(columns, rows)

    def resize(self, columns: int, rows: int) -> None:
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def press(self, keys: str) -> None:
        os.write(self.master, keys.encode())

    def read(self, for_s: float = 0.05) -> None:
        """Takes what the program draws for a while."""
        end = time.monotonic() + for_s
        while (left := end - time.monotonic()) > 0:
            if not select.select([self.master], [], [], left)[0]:
                return
            with contextlib.suppress(OSError):
                data = os.read(self.master, 65536)
                self.seen += data
                if data:
                    continue
            time.sleep(0.01)

    @property
    def journal(self) -> Path:
        return next(iter(sorted(self.out.glob("*.jsonl"))), self.out / "none")

    def events(self) -> list[dict[str, Any]]:
        try:
            text = self.journal.read_text(encoding="utf-8")
        except OSError:
            return []
        return [json.loads(line) for line in text.split("\n")[:-1]]

    def wait_for(self, holds: Callable[[list[dict[str, Any]]], object], timeout_s: float = 15.0) -> list[dict[str, Any]]:
        """The events once `holds` is true of them, drawing all the while."""
        end = time.monotonic() + timeout_s
        while time.monotonic() < end:
            events = self.events()
            if holds(events):
                return events
            self.read()
        last = [(e["kind"], e.get("text") or e.get("target") or "") for e in self.events()[-6:]]
        raise AssertionError(f"not in {timeout_s} s; last: {last}; screen: {self.seen[-1500:]!r}")

    def step(self, name: str, timeout_s: float = 15.0) -> list[dict[str, Any]]:
        """Waits until care stands at step `name`."""
        return self.wait_for(lambda events: step_of(events) == name, timeout_s)

    def wait(self, timeout_s: float = 10.0) -> int:
        """The exit code; minus the signal's number if a signal ended it."""
        end = time.monotonic() + timeout_s
        while time.monotonic() < end:
            done, status = os.waitpid(self.pid, os.WNOHANG)
            if done:
                self.pid = 0
                self.read()
                return os.waitstatus_to_exitcode(status)
            self.read()
        raise AssertionError(f"still running after {timeout_s} s; screen: {self.seen[-1500:]!r}")

    def settings(self) -> list[Any]:
        """The terminal's own settings (to see that they are given back)."""
        return termios.tcgetattr(self.master)

    def hang_up(self) -> None:
        """Closes the window."""
        os.close(self.master)
        self.master = -1

    def close(self) -> None:
        if self.pid:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)
            with contextlib.suppress(ChildProcessError):
                os.waitpid(self.pid, 0)
        if self.master >= 0:
            os.close(self.master)


def step_of(events: list[dict[str, Any]]) -> str:
    return next(
        (e["target"] for e in reversed(events) if e["kind"] == "moved" and e["machine"] == "care"), ""
    )
