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

_ABSURD = 16.0
"""Power (12 dB above full scale) that no echo has: the filter has gone astray and would not come back."""

_FALLS, _RISES = 0.15, 0.004
"""Of the way to a lower and a higher share left that is gone with each block: it follows what is left
when nobody talks, for talk makes it higher."""

_ROOM_BLOCKS = -(-limits.OWN_ECHO_TAIL_MS * limits.SAMPLE_RATE_HZ // (1000 * limits.BLOCK_SAMPLES))
"""A room goes on sounding so long."""

_WAY_KEPT = 0.99
"""Of the powers that tell how loud the way is: some three seconds of speech."""

_LOOK_BLOCKS, _LOOKS = 8, 2
"""A look for an echo in what is left each quarter of a second; it must be found in two of them."""

_LOOKED_AT = 16 * limits.BLOCK_SAMPLES
"""Half a second."""

_LIKE_HZ = 5_000
"""Small loudspeakers give little above."""


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
        self._lefts = self._playeds = np.zeros(_LOOKED_AT, np.float32)
        self._since_look = self._found = 0
        self._speaks_on = 0
        self._took = self._played = 0.0

    @property
    def left_db(self) -> float:
        """What is left of the echo when nobody talks, against the echo: 0 dB at first, -30 dB is good."""
        return self._left_db

    @property
    def way_db(self) -> float | None:
        """How much louder (or quieter) the microphone hears what is played; None while unknown."""
        if not self.knows_room or self._played <= 0:
            return None
        return 10 * float(np.log10(self._took / self._played + 1e-12))

    @property
    def knows_room(self) -> bool:
        return self._left_db < limits.ECHO_LEFT_DB

    def take(self, heard: np.ndarray, played: np.ndarray, speaking: bool) -> Cleaned:
        """`heard` and what was `played` meanwhile (float32[512], 16 kHz); `speaking`: words, not tones."""
        if not np.isfinite(np.dot(heard, heard)):  # a driver's garbage must not be learned
            heard = np.zeros_like(heard)
        clean, echo, expected = self._filter.take(heard, played)
        left, taken = _power(clean), _power(echo)
        if not (taken < _ABSURD and expected < _ABSURD):  # not a number as well
            self._filter = EchoFilter()
            self.changed()
            clean, left, taken, expected = heard, _power(heard), 0.0, 0.0
        if taken > _SILENT and _power(heard) > _SILENT:
            self._judge(left, taken)
            self._took = _WAY_KEPT * self._took + taken
            self._played = _WAY_KEPT * self._played + _power(played)
        self._speaks_on = _ROOM_BLOCKS if speaking else max(0, self._speaks_on - 1)
        own_db = 10 * float(np.log10(expected + 1e-12)) + limits.ECHO_MARGIN_DB
        self._look_for_echo(clean, played, own_db)
        return Cleaned(clean, own_db, self._speaks_on > 0 and not self.knows_room)

    def changed(self) -> None:
        """Another device, or sound was lost: the way is not known any more."""
        self._filter.unsure_again()
        self._left_db = 0.0

    def _judge(self, left: float, taken: float) -> None:
        now_db = min(0.0, 10 * float(np.log10((left + 1e-12) / taken)))
        follows = _FALLS if now_db < self._left_db else _RISES
        self._left_db += follows * (now_db - self._left_db)

    def _look_for_echo(self, clean: np.ndarray, played: np.ndarray, own_db: float) -> None:
        """Whether what is left holds what was played, at any delay: then the way has changed. Talk does
        not, however loud."""
        self._lefts = np.concatenate([self._lefts[len(clean) :], clean])
        self._playeds = np.concatenate([self._playeds[len(played) :], played])
        self._since_look += 1
        if self._since_look < _LOOK_BLOCKS:
            return
        self._since_look = 0
        loud = _power(self._lefts) > 10 ** (own_db / 10) and _power(self._playeds) > _SILENT
        found = loud and self.knows_room and likeness(self._lefts, self._playeds) > limits.ECHO_ALIKE
        self._found = self._found + 1 if found else 0
        if self._found >= _LOOKS:
            self.changed()


def likeness(left: np.ndarray, played: np.ndarray) -> float:
    """The highest peak of the phases' cross-correlation: C. H. Knapp and G. C. Carter, IEEE Trans. ASSP
    24 (1976) 320. Some 0.2 for an echo, below 0.06 for somebody else's speech."""
    size = 2 * len(left)
    both = np.fft.rfft(left, size) * np.conj(np.fft.rfft(played, size))
    both = both[: int(_LIKE_HZ * size / limits.SAMPLE_RATE_HZ)]
    return float(np.abs(np.fft.irfft(both / (np.abs(both) + 1e-9), size)).max() * size / (2 * len(both)))


def _power(sound: np.ndarray) -> float:
    return float(np.dot(sound, sound)) / len(sound)
