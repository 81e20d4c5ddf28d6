"""What the loudspeaker plays, at the microphone's rate and in the microphone's time."""

import threading
from collections import deque

import numpy as np

from prompter import limits
from prompter.hear.echo.at_once import AtOnce

_PER_MS = limits.SAMPLE_RATE_HZ / 1000
_EARLIER, _LATER = 0.2, 0.02
"""Of the difference between count and clock taken over with each block: bursts vanish, drift does not.
A busy machine hands blocks over late, never early, and they are heard in time all the same as long as
the card does not run dry: so the earliest count most."""


class Played:
    """Takes blocks as they are handed to the sound card; gives those that belong to a microphone block.

    Threads: the sound card's calls `add`, which only keeps the block; one reader calls `during`.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._lock = threading.Lock()
        self._fresh: deque[tuple[np.ndarray, int]] = deque(maxlen=limits.PLAYED_BLOCKS)
        self._begin_again()

    def add(self, block: np.ndarray, heard_at_ms: int) -> None:
        """`block` (float32 mono at the mixer's rate) begins to be heard at `heard_at_ms`."""
        with self._lock:
            self._fresh.append((block.copy(), heard_at_ms))

    def during(self, end_ms: int, settled: bool = True) -> tuple[np.ndarray, bool]:
        """float32[512] at 16 kHz for the microphone block that ended at `end_ms`; True where the count
        had to jump: the way from loudspeaker to microphone is another then.

        It is ahead by `limits.PLAYED_AHEAD_MS`, for reported times are not exact, and what is heard
        before it was played cannot be taken out. What is not there yet is silence. Until somebody has
        learned the way (`settled`), the count is set right by the clock: what a busy start got wrong
        would otherwise stay, and sound that comes before it was played is never learned.
        """
        self._take_fresh()
        wanted = (end_ms + limits.PLAYED_AHEAD_MS) * _PER_MS - self._zero - limits.BLOCK_SAMPLES
        jumped = self._next is None or abs(self._next - wanted) > limits.PLAYED_JUMP_MS * _PER_MS
        astray = not settled and self._next is not None and abs(self._next - wanted) > limits.PLAYED_AHEAD_MS * _PER_MS
        if self._next is None or jumped or astray:
            self._next = round(wanted)
        begin = self._next - self._dropped
        self._next += limits.BLOCK_SAMPLES
        block = np.zeros(limits.BLOCK_SAMPLES, np.float32)
        part = self._sound[max(0, begin) : max(0, begin + limits.BLOCK_SAMPLES)]
        start = min(max(0, -begin), limits.BLOCK_SAMPLES)
        block[start : start + len(part)] = part[: limits.BLOCK_SAMPLES - start]
        gone = min(max(0, begin - limits.SAMPLE_RATE_HZ // 4), len(self._sound))
        self._sound, self._dropped = self._sound[gone:], self._dropped + gone
        return block, jumped

    def _begin_again(self) -> None:
        self._up = AtOnce(self._rate_hz)
        self._sound = np.zeros(0, np.float32)
        self._taken = self._dropped = 0  # samples of the mixer; samples of ours before `_sound`
        self._zero = 0.0  # when sample 0 of ours is heard, in samples of session time
        self._next: int | None = None

    def _take_fresh(self) -> None:
        with self._lock:
            fresh, self._fresh = self._fresh, deque(maxlen=limits.PLAYED_BLOCKS)
        for block, heard_at_ms in fresh:
            count = self._taken * limits.SAMPLE_RATE_HZ / self._rate_hz
            off = heard_at_ms * _PER_MS - count - self._zero
            if abs(off) > limits.PLAYED_JUMP_MS * _PER_MS:  # the first, or another device
                self._begin_again()
                self._zero = heard_at_ms * _PER_MS
            else:
                self._zero += (_LATER if off > 0 else _EARLIER) * off
            self._taken += len(block)
            self._sound = np.concatenate([self._sound, self._up.take(block)])
