"""Another sample rate without delay: the usual resampler gives its samples in bursts, up to 120 ms late.

What is taken out of the microphone's sound must be there before the microphone hears it.
"""

from math import gcd

import numpy as np

from prompter import limits

_ZEROS = 12
"""Zero crossings of the sinc on each side: 1 ms at 16 kHz is all that it is late."""

_PASSES = 0.92
"""Of half the lower rate is kept."""


class AtOnce:
    """A stream at `rate_hz`, float32 mono, made into one at 16 kHz by a windowed sinc. The result is in
    time with the input (no shift), and complete but for the last 1 to 2 ms."""

    def __init__(self, rate_hz: int) -> None:
        shared = gcd(rate_hz, limits.SAMPLE_RATE_HZ)
        self._step, self._phases = rate_hz // shared, limits.SAMPLE_RATE_HZ // shared
        cut = _PASSES * min(1.0, limits.SAMPLE_RATE_HZ / rate_hz)
        self._reach = int(np.ceil(_ZEROS / min(1.0, limits.SAMPLE_RATE_HZ / rate_hz)))
        taps = np.arange(1 - self._reach, self._reach + 1)
        away = taps[None, :] - np.arange(self._phases)[:, None] / self._phases
        window = 0.5 + 0.5 * np.cos(np.pi * np.clip(away / self._reach, -1, 1))
        kernel = cut * np.sinc(cut * away) * window
        self._kernel = (kernel / kernel.sum(axis=1, keepdims=True)).astype(np.float32)
        self._input = np.zeros(self._reach - 1, np.float32)  # before sample 0 of the stream
        self._first = 1 - self._reach  # the stream's number of `_input[0]`
        self._made = 0

    def take(self, block: np.ndarray) -> np.ndarray:
        """What can be made with `block` added."""
        self._input = np.concatenate([self._input, block])
        end = self._first + len(self._input)
        # Sample n lies at n * step / phases, and needs input up to `reach` behind that.
        last = ((end - self._reach) * self._phases - 1) // self._step
        numbers = np.arange(self._made, max(self._made, last + 1), dtype=np.int64)
        base, phase = np.divmod(numbers * self._step, self._phases)
        around = base[:, None] - self._first + np.arange(1 - self._reach, self._reach + 1)[None, :]
        made: np.ndarray = np.einsum("ij,ij->i", self._input[around], self._kernel[phase])
        self._made += len(numbers)
        gone = max(0, self._made * self._step // self._phases - self._reach + 1 - self._first)
        self._input, self._first = self._input[gone:], self._first + gone
        return made
