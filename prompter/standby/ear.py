"""The microphone and the recogniser as standby uses them: each may fail, is told once, and tried again."""

import contextlib
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.standby import bounds
from prompter.standby.pieces import Pieces
from prompter.standby.start_phrase import StartPhrase
from prompter.standby.troubles import Troubles


def open_microphone(name: str | int | None) -> Any:
    """The named one, else the default, else any. Raises CannotDo."""
    from prompter.hear.microphone import Microphone
    from prompter.speak.loudspeaker import every_device

    first: CannotDo | None = None
    others = lambda: [None] if name is not None else []  # noqa: E731 - asked for only when it is needed
    for names in (lambda: [name], others, lambda: every_device("input")):
        for one in names():
            microphone = Microphone(one)
            try:
                microphone.open()
                return microphone
            except CannotDo as error:
                first = first or error
    raise first or CannotDo("there is no microphone")


def find_devices_again() -> None:
    """Lets the sound library find what was plugged in since; only while no device of ours is open."""
    with contextlib.suppress(Exception):
        import sounddevice

        sounddevice._terminate()
        sounddevice._initialize()


@dataclass
class Counts:
    """Of what was heard: numbers and levels alone. Levels in dB of full scale."""

    blocks: int = 0
    lost: int = 0
    pieces: int = 0
    nearest: float = -99.0
    levels_db: list[float] = field(default_factory=list)

    def line(self) -> str:
        """For the log; begins anew after it."""
        some = np.array(self.levels_db or [-120.0])
        minutes = self.blocks * limits.BLOCK_SAMPLES / limits.SAMPLE_RATE_HZ / 60
        text = (
            f"listened {minutes:.0f} min, level {np.median(some):.0f} dB (loudest {some.max():.0f}), "
            f"{self.pieces} pieces looked at, nearest {self.nearest:.1f}, {self.lost} blocks lost"
        )
        self.__init__()  # type: ignore[misc]
        return text


class Listening:
    """`heard()` takes the next sound and tells whether the start phrase ends with it."""

    def __init__(
        self,
        microphone: str | int | None,
        phrase: StartPhrase,
        troubles: Troubles,
        sound_lock: threading.Lock,
        open_one: Callable[[str | int | None], Any] = open_microphone,
    ) -> None:
        self._name, self._phrase, self._troubles = microphone, phrase, troubles
        self._lock, self._open_one = sound_lock, open_one
        self._pieces = Pieces()
        self._microphone: Any = None
        self._tried_s = self._sound_s = self._failed_s = -1e9
        self._tries = 0
        self.counts = Counts()

    def heard(self) -> bool:
        """Waits for a block of sound, or a moment where there is no microphone."""
        if self._microphone is None and not self._open():
            time.sleep(limits.KEYS_WAIT_S)
            return False
        block = self._microphone.read(limits.KEYS_WAIT_S)
        if block is None:
            self._look_for_trouble()
            return False
        self._sound_s = time.monotonic()
        return self.hear(block)

    def hear(self, block: np.ndarray) -> bool:
        """One block of sound (float32[512], 16 kHz): the same code for a microphone and a measurement."""
        piece = self._pieces.push(block)
        counts = self.counts
        counts.blocks += 1
        if counts.blocks % bounds.LEVEL_BLOCKS == 0:
            counts.levels_db.append(self._pieces.level_db)
        if piece is None or time.monotonic() - self._failed_s < bounds.EAR_RETRY_S:
            return False
        counts.pieces += 1
        try:
            found = self._phrase.judge(piece)
        except Exception as error:  # noqa: BLE001 - whatever a recogniser raises, keys go on
            self._failed_s = time.monotonic()
            why = error.one_line() if isinstance(error, CannotDo) else f"{type(error).__name__}: {error}"
            self._troubles.broke("ear", why)
            return False
        self._troubles.well("ear")
        counts.nearest = max(counts.nearest, found.evidence)
        return found.taken

    def close(self) -> None:
        """Gives the microphone back, and leaves nothing of what was heard."""
        microphone, self._microphone = self._microphone, None
        if microphone is not None:
            held = self._lock.acquire(timeout=limits.WATCH_S)  # a device that hangs keeps nobody waiting
            microphone.close()
            if held:
                self._lock.release()
        self._pieces.forget()

    def _open(self) -> bool:
        if time.monotonic() - self._tried_s < bounds.RETRY_S:
            return False
        if not self._lock.acquire(blocking=False):  # something is being said: in a moment
            return False
        self._tried_s = time.monotonic()
        try:
            if self._tries:
                find_devices_again()
            self._tries += 1
            self._microphone = self._open_one(self._name)
        except Exception as error:  # noqa: BLE001 - whatever a driver does, keys go on
            why = error.one_line() if isinstance(error, CannotDo) else f"{type(error).__name__}: {error}"
            self._troubles.broke("microphone", why)
            return False
        finally:
            self._lock.release()
        self._sound_s = time.monotonic()
        self._troubles.well("microphone")
        return True

    def _look_for_trouble(self) -> None:
        trouble = self._microphone.trouble()
        if time.monotonic() - self._sound_s > limits.MICROPHONE_LOST_S:
            trouble.append("the microphone gives no sound")
        if trouble:
            self.counts.lost += self._microphone.overflows
            self.close()
            self._troubles.broke("microphone", trouble[0])
