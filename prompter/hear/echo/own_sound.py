"""What is left of the prompter's own sound behind the echo filter, and when nothing may be believed.

Whatever the filter leaves is judged by its level: a block no louder than what may be left is the
prompter's, not the caregiver's, and counts as silence for finding where speech begins and ends. The
sound itself is not touched. Until the filter has learned the room, the prompter is deaf while it speaks.
"""

from dataclasses import dataclass

import numpy as np

from prompter import limits
from prompter.hear.echo.filter import EchoFilter

_SILENT = 1e-9
"""Power (-90 dB of full scale) below which nothing is played, or nothing left."""

_FALLS, _RISES = 0.15, 0.004
"""Of the way to a lower and a higher share left that is gone with each block: it follows what is left
when nobody talks, for talk makes it higher."""

_ROOM_BLOCKS = -(-limits.OWN_ECHO_TAIL_MS * limits.SAMPLE_RATE_HZ // (1000 * limits.BLOCK_SAMPLES))
"""A room goes on sounding so long."""

_ALIKE_BLOCKS = 12
"""Blocks over which what is left is compared to the echo taken out (0.4 s)."""


@dataclass(frozen=True, slots=True, eq=False)
class Cleaned:
    """A microphone block without the echo. `own_db`: up to this level it may be the prompter's own.
    `deaf`: the filter does not know the room yet (or no more), and the prompter is speaking."""

    sound: np.ndarray
    own_db: float
    deaf: bool


class OwnSound:
    """One microphone, one loudspeaker. Not thread-safe."""

    def __init__(self, filter_: EchoFilter | None = None) -> None:
        self._filter = filter_ or EchoFilter()
        self._left_db = 0.0
        self._both = self._lefts = self._echoes = 0.0
        self._alike = 0
        self._speaks_on = 0

    @property
    def left_db(self) -> float:
        """What is left of the echo when nobody talks, against the echo: 0 dB at first, -30 dB is good."""
        return self._left_db

    @property
    def knows_room(self) -> bool:
        return self._left_db < limits.ECHO_LEFT_DB

    def take(self, heard: np.ndarray, played: np.ndarray, speaking: bool) -> Cleaned:
        """`heard` and what was `played` meanwhile (float32[512], 16 kHz); `speaking`: words, not tones."""
        clean, echo, expected = self._filter.take(heard, played)
        left, taken = _power(clean), _power(echo)
        if taken > _SILENT and _power(heard) > _SILENT:
            self._judge(left, taken)
            self._compare(clean, echo)
        self._speaks_on = _ROOM_BLOCKS if speaking else max(0, self._speaks_on - 1)
        own_db = 10 * float(np.log10(expected + 1e-12)) + limits.ECHO_MARGIN_DB
        return Cleaned(clean, own_db, self._speaks_on > 0 and not self.knows_room)

    def _judge(self, left: float, taken: float) -> None:
        now_db = min(0.0, 10 * float(np.log10((left + 1e-12) / taken)))
        follows = _FALLS if now_db < self._left_db else _RISES
        self._left_db += follows * (now_db - self._left_db)

    def _compare(self, clean: np.ndarray, echo: np.ndarray) -> None:
        """What is left looks like what is taken out: the way has changed. Talk does not look like it."""
        kept = 1 - 1 / _ALIKE_BLOCKS
        self._both = kept * self._both + float(np.dot(clean, echo))
        self._lefts = kept * self._lefts + float(np.dot(clean, clean))
        self._echoes = kept * self._echoes + float(np.dot(echo, echo))
        alike = abs(self._both) / (self._lefts * self._echoes + 1e-18) ** 0.5
        loud = self._lefts > self._echoes * 10 ** (limits.ECHO_LEFT_DB / 10)
        self._alike = self._alike + 1 if alike > limits.ECHO_ALIKE and loud else 0
        if self._alike == _ALIKE_BLOCKS // 2:
            self._filter.unsure_again()
            self._left_db = 0.0


def _power(sound: np.ndarray) -> float:
    return float(np.dot(sound, sound)) / len(sound)
