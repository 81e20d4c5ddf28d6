"""Keeps the prompter from hearing itself: without this its own words would be taken for unclear answers.

First its own sound is taken out of the microphone's (`prompter/hear/echo/`). Until that has learned the
room, and whenever it has lost it, the second line holds: the microphone is not listened to while the
prompter speaks (tones and beats do not count), unless it is found not to hear the loudspeaker: with
a headset, or a loudspeaker far away. Then people may answer into a prompt.
Found by whether the microphone's level follows the loudspeaker's. Threads: the sound card's calls
`played`; the runner's calls the rest.
"""

from collections import deque

import numpy as np

from prompter import limits
from prompter.hear.echo.own_sound import OwnSound
from prompter.hear.echo.played import Played

_BIN_MS = limits.BLOCK_SAMPLES * 1000 // limits.SAMPLE_RATE_HZ
_FLOOR_DB = -70.0


class OwnEcho:
    """`echo`: whether the microphone is taken to hear the loudspeaker. It is, until shown otherwise."""

    def __init__(self) -> None:
        self.echo = True
        self._without_echo = 0
        self._played: deque[tuple[int, float]] = deque(maxlen=limits.OWN_ECHO_BLOCKS)
        self._heard: list[tuple[int, float]] = []
        self._deaf_until_ms: float = -1.0
        self._ahead: Played | None = None
        self._own = OwnSound()

    def counts_for(self, rate_hz: int) -> None:
        """The rate of what is `played`. Without it there is only the second line."""
        self._ahead = Played(rate_hz)

    def changed(self) -> None:
        """Another loudspeaker or microphone: another way between them."""
        self._own.changed()

    @property
    def way_db(self) -> float | None:
        """How much louder than it is played the microphone hears the prompter; None while unknown."""
        return self._own.way_db

    def cleaned(self, block: np.ndarray, at_ms: int, speaking: bool, latency_ms: float) -> tuple[np.ndarray, float]:
        """The microphone's block that ended at `at_ms` without the prompter's sound; and the level in
        dB up to which it may be what is left of it."""
        guarded = self.without(block, at_ms, speaking, latency_ms)
        if self._ahead is None:
            return guarded, limits.QUIET_DB
        played, jumped = self._ahead.during(at_ms, self._own.knows_room)
        if jumped:
            self._own.changed()
        found = self._own.take(block, played, speaking)
        return (guarded, limits.QUIET_DB) if found.deaf else (found.sound, found.own_db)

    def played(self, block: np.ndarray, heard_at_ms: int) -> None:
        """`block` (float32) will be heard at `heard_at_ms`."""
        if len(block):
            if self._ahead is not None:
                self._ahead.add(block, heard_at_ms)
            self._played.append((heard_at_ms, float(np.dot(block, block)) / len(block)))

    def without(self, block: np.ndarray, at_ms: int, speaking: bool, latency_ms: float) -> np.ndarray:
        """The microphone's block that ended at `at_ms`, or silence instead of the prompter's voice."""
        if speaking:
            self._deaf_until_ms = at_ms + latency_ms + limits.OWN_ECHO_TAIL_MS
        if at_ms > self._deaf_until_ms:
            self._heard.clear()  # too short to tell
            return block
        self._heard.append((at_ms, float(np.dot(block, block)) / len(block)))
        if len(self._heard) * _BIN_MS >= limits.OWN_ECHO_JUDGED_MS:
            self._consider()
        return np.zeros_like(block) if self.echo else block

    def _consider(self) -> None:
        """The prompter has spoken for a while: did the microphone follow?"""
        heard, self._heard = self._heard, []
        follows = likeness(heard, list(self._played)) > limits.OWN_ECHO_LIKENESS
        self._without_echo = 0 if follows else self._without_echo + 1
        self.echo = self._without_echo < limits.OWN_ECHO_STRETCHES


def likeness(heard: list[tuple[int, float]], played: list[tuple[int, float]]) -> float:
    """How far the level heard follows the level played, at the best delay: correlation, 0 to 1.

    Both are (time in ms, power); a delay of up to `limits.OWN_ECHO_DELAY_MS` is looked for.
    """
    begin = heard[0][0]
    bins = (heard[-1][0] - begin) // _BIN_MS + 1
    mic = _levels(heard, begin, bins)
    most = limits.OWN_ECHO_DELAY_MS // _BIN_MS
    speaker = _levels(played, begin - most * _BIN_MS, bins + most)
    best = 0.0
    for delay in range(most + 1):
        part = speaker[most - delay : most - delay + bins]
        if mic.std() > 1.0 and part.std() > 1.0:  # dB: a level that never changes follows nothing
            best = max(best, float(np.corrcoef(mic, part)[0, 1]))
    return best


def _levels(powers: list[tuple[int, float]], begin_ms: int, bins: int) -> np.ndarray:
    """Mean level in dB of each bin from `begin_ms`; bins without sound are at the floor."""
    total, count = np.zeros(bins), np.zeros(bins)
    for at_ms, power in powers:
        place = (at_ms - begin_ms) // _BIN_MS
        if 0 <= place < bins:
            total[place] += power
            count[place] += 1
    mean = total / np.maximum(count, 1)
    return np.maximum(10 * np.log10(mean + 1e-12), _FLOOR_DB)
