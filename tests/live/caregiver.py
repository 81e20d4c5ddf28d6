"""A caregiver for the live test: follows the journal, and speaks into the mouth when asked."""

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from prompter.resources import shared_file
from prompter.speak.voice import EspeakVoice

PROGRAM = Path(sys.executable).with_name("prompter")


def write_plan(path: Path) -> Path:
    """The demonstration plan as if it were somebody's own (respond refuses the demonstration)."""
    text = shared_file("demo-plan.yaml").read_text(encoding="utf-8")
    own = text.replace("demonstration: yes", "demonstration: no")
    assert own != text
    path.write_text(own, encoding="utf-8")
    return path


class Respond:
    """`prompter respond` as a real process, its journal read as it grows."""

    def __init__(self, folder: Path, environment: dict[str, str], *words: str) -> None:
        self.out = Path(tempfile.mkdtemp(prefix="record-", dir=folder))
        self.output = self.out / "output.txt"
        self.began = time.monotonic()
        with self.output.open("w") as output:
            self.process = subprocess.Popen(
                [str(PROGRAM), "respond", "--out", str(self.out), *words],
                env={**environment, "PROMPTER_HOME": str(folder / "home"), "PYTHONFAULTHANDLER": "1"},
                stdin=subprocess.PIPE, stdout=output, stderr=output,
            )  # fmt: skip

    def hears(self, timeout_s: float = 60.0) -> None:
        """Waits until microphone and ears are there: what is said before is lost."""
        end = time.monotonic() + timeout_s
        while not all(f"STATE  {line}" in self.output.read_text() for line in ("microphone: listening", "ear: ready")):
            assert time.monotonic() < end and self.process.poll() is None, self.output.read_text()[-1500:]
            time.sleep(0.05)

    def press(self, keys: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(keys.encode())
        self.process.stdin.flush()

    @property
    def journal(self) -> Path:
        return next(iter(sorted(self.out.glob("*.jsonl"))), self.out / "none")

    def events(self) -> list[dict[str, Any]]:
        try:
            text = self.journal.read_text(encoding="utf-8")
        except OSError:
            return []
        return [json.loads(line) for line in text.split("\n")[:-1]]

    def wait_for(self, holds: Callable[[list[dict[str, Any]]], bool], timeout_s: float = 20.0) -> list[dict[str, Any]]:
        """The events once `holds` is true of them."""
        end = time.monotonic() + timeout_s
        while time.monotonic() < end:
            events = self.events()
            if holds(events):
                return events
            if self.process.poll() is not None:
                break
            time.sleep(0.05)
        last = [e["kind"] + " " + str(e.get("text") or e.get("detail") or "") for e in self.events()[-8:]]
        ended = self.process.poll()
        what = "not in time" if ended is None else f"the program ended with {ended}"
        raise AssertionError(f"{what}; last: {last}; {self.output.read_text()[-1500:]}")

    def settle(self, after_s: float) -> None:
        """Lets it run on for a while, and ends it."""
        time.sleep(after_s)
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(10)

    def close(self) -> int:
        """Ctrl-C twice, as a person would; the exit code."""
        for _ in range(2):
            if self.process.poll() is None:
                self.process.send_signal(signal.SIGINT)
                time.sleep(0.3)
        try:
            return self.process.wait(10)
        except subprocess.TimeoutExpired:
            os.kill(self.process.pid, signal.SIGABRT)  # prints where each thread stands
            self.process.wait(10)
            last = [event["kind"] for event in self.events()[-5:]]
            raise AssertionError(f"does not end; last: {last}; {self.output.read_text()[-6000:]}") from None


def asked(events: list[dict[str, Any]]) -> bool:
    """All that care says at this step has been said; the call may still be talking."""
    moves = [i for i, e in enumerate(events) if e["kind"] == "moved" and e["machine"] == "care"]
    here = events[moves[-1] :] if moves else []
    said = {e["cue"] for e in here if e["kind"] == "say" and e["role"] in ("care", "question")}
    return bool(said) and said <= {e["cue"] for e in here if e["kind"] == "prompt ended"}


def step_of(events: list[dict[str, Any]]) -> str:
    return next(
        (e["target"] for e in reversed(events) if e["kind"] == "moved" and e["machine"] == "care"), ""
    )


class Caregiver:
    """Speaks with a voice that is not the prompter's."""

    def __init__(self, server: Any, voice: str = "en-gb+f2", rate_wpm: int = 150) -> None:
        self._server = server
        self._voice = EspeakVoice(voice, rate_wpm)
        self.said: list[tuple[str, np.ndarray]] = []

    def say(self, text: str, after_s: float = 0.3) -> None:
        """Says it after thinking for a moment (people take 0.2 s on average: Stivers et al., PNAS
        2009;106:10587); returns when it is said."""
        clip = 0.6 * self._voice.render(text)
        time.sleep(after_s)
        self.said.append((text, clip))
        self._server.say(clip, 22_050).wait(20)
