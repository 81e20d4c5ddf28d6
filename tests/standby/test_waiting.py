"""The waiting itself with a stand-in for the microphone: what starts, what is told, what is tried again."""

import threading
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.standby import bounds, morning
from prompter.standby.ear import Listening
from prompter.standby.log import Log
from prompter.standby.morning import Morning
from prompter.standby.service import Service
from prompter.standby.troubles import Troubles
from prompter.standby.waiting import Alive, Waiting


class Deaf:
    """A phrase that is never heard."""

    def judge(self, piece: np.ndarray) -> Any:
        raise AssertionError("nothing is to be judged here")


class Silent:
    """A microphone that gives so many blocks of silence, and then nothing."""

    overflows = 0

    def __init__(self, blocks: int) -> None:
        self.left, self.closed = blocks, False

    def read(self, timeout_s: float) -> np.ndarray | None:
        self.left -= 1
        if self.left < 0:
            time.sleep(0.01)
            return None
        return np.zeros(limits.BLOCK_SAMPLES, np.float32)

    def trouble(self) -> list[str]:
        return ["it was pulled out"] if self.left < 0 else []

    def close(self) -> None:
        self.closed = True


class After:
    """Pressed at the n-th look."""

    def __init__(self, looks: int) -> None:
        self.left = looks

    def pressed(self) -> bool:
        self.left -= 1
        return self.left < 0


NEVER = Morning(24, datetime(2026, 3, 1), at_start=False)
"""No hour of the day is the self-test's, whenever the tests run."""


@pytest.fixture
def told() -> list[str]:
    return []


def waiting(listening: Listening | None, presses: list[Any], told: list[str], **other: Any) -> Waiting:
    log = other.get("log") or Log(None, show=False)
    troubles = other.get("troubles") or Troubles(told.append, told.append)
    return Waiting(
        listening, presses, Alive(Service()), log, troubles,
        other.get("morning") or NEVER,
        other.get("self_test", lambda: told.append("self-test")), other.get("loudspeaker", lambda: ""),
    )  # fmt: skip


def test_a_key_starts_although_there_is_no_microphone(told: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "KEYS_WAIT_S", 0.01)

    def none(name: Any) -> Any:
        raise CannotDo("there is no microphone", mend="plug one in")

    troubles = Troubles(told.append, told.append)
    ear = Listening(None, Deaf(), troubles, threading.Lock(), none)  # type: ignore[arg-type]
    monkeypatch.setattr(bounds, "RETRY_S", 0.0)
    assert waiting(ear, [After(5)], told).wait() == "key"
    assert told == ["microphone: there is no microphone Mend: plug one in", "Standby cannot hear. Check the microphone, or start by key."]


def test_a_microphone_that_went_and_came_back_is_told_once_each(told: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "RETRY_S", 0.0)
    monkeypatch.setattr("prompter.standby.ear.find_devices_again", lambda: None)
    opened: list[Silent] = []

    def open_one(name: Any) -> Any:
        opened.append(Silent(3))
        return opened[-1]

    troubles = Troubles(told.append, lambda text: None)
    ear = Listening(None, Deaf(), troubles, threading.Lock(), open_one)  # type: ignore[arg-type]
    for _ in range(6):
        assert not ear.heard()
    assert told == ["microphone: it was pulled out", "microphone: works again"]
    assert opened[0].closed and len(opened) == 2
    ear.close()
    assert opened[1].closed


def test_a_disk_that_takes_no_log_is_told_once(told: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("/dev/full is Linux'")
    monkeypatch.setattr(bounds, "TURN_S", 0.0)
    monkeypatch.setattr(limits, "KEYS_WAIT_S", 0.0)
    log = Log(Path("/dev/full"), show=False)
    log.line("a line")
    troubles = Troubles(lambda line: (told.append(line), log.line(line)), lambda text: None)  # type: ignore[func-returns-value]
    waiting(None, [After(4)], told, log=log, troubles=troubles).wait()
    assert told[0] == "disk: the log cannot be written" and told.count(told[0]) == 1


def test_a_lost_loudspeaker_is_told(told: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "TURN_S", 0.0)
    monkeypatch.setattr(limits, "KEYS_WAIT_S", 0.02)
    waiting(None, [After(10)], told, loudspeaker=lambda: "it is gone").wait()
    assert told == ["loudspeaker: it is gone"]


def test_the_self_test_comes_once_a_morning() -> None:
    test = Morning(9, datetime(2026, 3, 1, 8), at_start=False)
    moments = [(1, 8), (1, 9), (1, 10), (1, 23), (2, 0), (2, 8), (2, 11), (2, 12)]
    due = [moment for moment in moments if test.due(datetime(2026, 3, *moment))]
    assert due == [(1, 9), (2, 11)]  # late where the machine slept at nine


def test_at_the_start_it_comes_at_once_and_then_the_next_morning() -> None:
    test = Morning(9, datetime(2026, 3, 1, 14))
    moments = [(1, 14), (1, 15), (2, 8), (2, 9)]
    assert [m for m in moments if test.due(datetime(2026, 3, *m))] == [(1, 14), (2, 9)]


def test_the_self_test_speaks_only_of_faults(monkeypatch: pytest.MonkeyPatch) -> None:
    for found, said in (([], 0), ([("ears", "gone"), ("disk", "full")], 1)):
        told: list[str] = []
        spoken: list[str] = []
        monkeypatch.setattr(morning, "self_test", lambda plan, name, found=found: found)
        morning.run_beside(None, None, told.append, spoken.append).join()
        assert len(spoken) == said and len(told) == max(1, len(found))
    assert "ears, disk" in spoken[0]


def test_the_real_self_test_finds_what_is_missing(ready_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROMPTER_HOME", str(ready_home))
    names = [name for name, _ in morning.self_test(Path("/no/such/plan.yaml"), None)]
    assert "care plan" in names and "ears" not in names and "the self-test" not in names


def test_systemd_hears_of_it_only_while_the_loop_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    alive = Alive(Service())
    assert alive.lives
    monkeypatch.setattr(bounds, "STILL_S", -1.0)
    assert not alive.lives
    alive.in_emergency = True
    assert alive.lives
