"""`prompter standby` as a process: a key starts the emergency, its end begins the waiting anew."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from prompter.journal import verify
from prompter.standby.start_phrase import SPOKEN

pytestmark = pytest.mark.skipif(os.name == "nt", reason="begins anew by exec, which is POSIX'")
WAITS = "Standby. To start"


class Standby:
    """One process; its output and the journals it writes."""

    def __init__(self, folder: Path, *words: str, environment: dict[str, str] | None = None) -> None:
        self.out, self.output = folder / "records", folder / f"output-{time.monotonic_ns()}.txt"
        with self.output.open("w") as output:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "prompter.cli", "standby", "--out", str(self.out), "--self-test", "23", *words],
                env={**(environment or os.environ), "PROMPTER_HOME": str(folder / "home")},
                stdin=subprocess.PIPE, stdout=output, stderr=output, text=True,
            )  # fmt: skip

    @property
    def said(self) -> str:
        return self.output.read_text()

    def wait_for(self, holds: Callable[[], Any], seconds: float = 60) -> Any:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if found := holds():
                return found
            assert self.process.poll() is None, self.said
            time.sleep(0.05)
        raise AssertionError(f"not in time: {self.said[-1500:]}")

    def waits(self, times: int = 1) -> None:
        self.wait_for(lambda: self.said.count(WAITS) >= times)

    def press(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()

    def journals(self) -> list[Path]:
        return sorted(self.out.glob("*.jsonl"))

    def emergency(self) -> Path:
        """Waits until a journal says that something was asked."""
        journals = self.wait_for(lambda: [p for p in self.journals() if '"kind":"say"' in p.read_text()])
        return Path(journals[-1])

    def close_emergency(self) -> None:
        for _ in range(2):
            self.process.send_signal(signal.SIGINT)
            time.sleep(0.5)


@pytest.fixture
def standby(tmp_path: Path, ready_home: Path, plan_file: Path) -> Iterator[Callable[..., Standby]]:
    begun: list[Standby] = []

    def begin(*words: str, **other: Any) -> Standby:
        begun.append(Standby(tmp_path, "--plan", str(plan_file), *words, **other))
        return begun[-1]

    yield begin
    for one in begun:
        one.process.kill()
        one.process.wait()


def test_a_key_starts_an_emergency_and_after_it_the_same_process_waits_again(standby: Callable[..., Standby]) -> None:
    one = standby("--keys-only")
    one.waits()
    one.press()
    journal = one.emergency()
    one.close_emergency()
    one.waits(2)
    assert verify(journal).closed and len(one.journals()) == 1
    assert "an emergency begins: key" in one.said
    one.process.terminate()
    assert one.process.wait(20) == 0


def test_systems_wish_to_end_is_heard_in_an_emergency_too(standby: Callable[..., Standby]) -> None:
    one = standby("--keys-only")
    one.waits()
    one.press()
    journal = one.emergency()
    one.process.terminate()
    assert one.process.wait(20) == 0
    assert verify(journal).closed


def test_a_second_one_says_so_in_one_line(standby: Callable[..., Standby]) -> None:
    standby("--keys-only").waits()
    second = standby("--keys-only")
    assert second.process.wait(30) == 2
    assert second.said.count("\n") == 1 and "another prompter waits already" in second.said


def test_a_service_that_was_killed_goes_on_with_the_emergency(standby: Callable[..., Standby], tmp_path: Path) -> None:
    path = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(str(path))
        systemd.settimeout(60)
        service = {**os.environ, "NOTIFY_SOCKET": str(path)}
        one = standby("--keys-only", environment=service)
        one.waits()
        while b"READY=1" not in systemd.recv(1000):
            pass
        one.press()
        journal = one.emergency()
        time.sleep(0.5)
        one.process.kill()
        one.process.wait()
        two = standby("--keys-only", environment=service)
        two.wait_for(lambda: '"kind":"resumed"' in journal.read_text() or "goes on" in two.said)
    assert "an emergency begins: an emergency was interrupted" in two.said and WAITS not in two.said
    assert len(two.journals()) == 1


def test_a_pedal_that_is_not_there_is_one_line_and_code_2(standby: Callable[..., Standby], tmp_path: Path) -> None:
    one = standby("--keys-only", "--pedal", str(tmp_path / "none"))
    assert one.process.wait(30) == 2
    assert "the pedal cannot be read" in one.said and "Traceback" not in one.said


@pytest.mark.alone
@pytest.mark.timeout(240)
def test_the_start_phrase_starts_and_no_word_of_the_room_is_kept(
    standby: Callable[..., Standby], sound_server: Any, helper: Any, tmp_path: Path
) -> None:
    one = standby(environment=sound_server.environment)
    one.waits()
    caregiver = helper("caregiver").Caregiver(sound_server)
    one.wait_for(sound_server.microphone_is_open)
    caregiver.say("He had breathing trouble yesterday, and the garden gate is open")
    time.sleep(2)
    assert "an emergency begins" not in one.said
    for _ in range(3):  # on a busy machine sound may be lost on its way
        caregiver.say(SPOKEN)
        with contextlib.suppress(AssertionError):
            one.wait_for(lambda: "an emergency begins: start phrase" in one.said, 4)
            break
    one.emergency()
    one.close_emergency()
    one.waits(2)
    log = (tmp_path / "home" / "standby" / "standby.log").read_text()
    assert "an emergency begins: start phrase" in log
    assert not any(word in log for word in ("garden", "gate", "yesterday"))
