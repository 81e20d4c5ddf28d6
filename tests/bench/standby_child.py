"""Standby at a synthetic microphone that gives a file's sound in real time, over and over.

Arguments: the sound (.npy, float32, 16 kHz), seconds. Prints one JSON line: share of a core, memory.
"""

import json
import sys
import tempfile
import threading
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.live.memory import give_back, keep_small


class FileMicrophone:
    """A block each 32 ms, as a sound card gives them."""

    overflows = 0

    def __init__(self, sound: np.ndarray) -> None:
        self._sound, self._at, self._began = sound, 0, time.monotonic()

    def read(self, timeout_s: float) -> np.ndarray | None:
        due = self._began + (self._at + 1) * limits.BLOCK_SAMPLES / limits.SAMPLE_RATE_HZ
        time.sleep(max(0.0, due - time.monotonic()))
        begin = self._at * limits.BLOCK_SAMPLES % (len(self._sound) - limits.BLOCK_SAMPLES)
        self._at += 1
        return np.array(self._sound[begin : begin + limits.BLOCK_SAMPLES])

    def trouble(self) -> list[str]:
        return []

    def close(self) -> None:
        pass


class After:
    """Presses the key when the time is over, and takes the figures over that time."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._began: tuple[float, float] | None = None
        self.percent = 0.0

    def pressed(self) -> bool:
        if self._began is None:
            self._began = time.monotonic(), time.process_time()
        passed_s = time.monotonic() - self._began[0]
        if passed_s < self._seconds:
            return False
        self.percent = 100 * (time.process_time() - self._began[1]) / passed_s
        return True


def main() -> None:
    from prompter.standby import standby
    from prompter.standby.ear import Listening
    from prompter.standby.log import Log
    from prompter.standby.morning import Morning
    from prompter.standby.service import Service
    from prompter.standby.start_phrase import StartPhrase
    from prompter.standby.troubles import Troubles
    from prompter.standby.waiting import Alive, Waiting

    keep_small()
    sound, seconds = np.load(sys.argv[1], mmap_mode="r"), float(sys.argv[2])
    standby._load_the_emergency(None)
    phrase = StartPhrase()
    phrase.warm_up()
    log = Log(Path(tempfile.mkdtemp(), "standby.log"), show=False)
    troubles = Troubles(log.line, lambda text: None)
    microphone: Any = FileMicrophone(sound)
    ear = Listening(None, phrase, troubles, threading.Lock(), lambda name: microphone)
    after = After(seconds)
    waiting = Waiting(
        ear, [after], Alive(Service()), log, troubles, Morning(23, datetime.now(), at_start=False),
        lambda: None, lambda: "",
    )  # fmt: skip
    give_back()
    pieces = 0
    while not after.percent:
        waiting.wait()
        pieces = ear.counts.pieces
    status = Path("/proc/self/status").read_text() if Path("/proc/self/status").exists() else ""
    mb = {line.split(":")[0]: int(line.split()[1]) // 1024 for line in status.splitlines() if line.startswith("Vm")}
    print(json.dumps({
        "seconds": seconds, "core_percent": round(after.percent, 2), "pieces": pieces,
        "memory_mb": mb.get("VmRSS"), "most_mb": mb.get("VmHWM"),
    }))  # fmt: skip


if __name__ == "__main__":
    main()
