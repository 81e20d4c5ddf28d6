"""Takes what the loudspeaker played out of what the microphone heard, by a linear model of the room.

A partitioned-block frequency-domain adaptive filter whose step size is a Kalman gain: each bin of each
partition moves as far as its own uncertainty against what else is in the microphone allows. So it
learns fast from the first words, and hardly moves while somebody talks at the same time: the gain is
the guard. G. Enzner and P. Vary, Signal Process 2006;86:1140; partitions: F. Kuech, E. Mabande and
G. Enzner, ICASSP 2014, 1295. There is no suppressor behind it: what is subtracted is linear, and the
caregiver's voice stays as it was.
"""

import numpy as np

from prompter import limits

HOP = 256
"""Samples taken at a time, 16 ms: half a microphone block."""

_SIZE = 2 * HOP

PARTITIONS = limits.ECHO_TAIL_MS * limits.SAMPLE_RATE_HZ // 1000 // HOP

_FORGETS = 0.9995
"""How far a bin keeps to what it learned, a hop: about half a minute. Common practice, no source."""

_NEAR_SMOOTH = 0.8
"""Of the power of what is not echo, kept from hop to hop (70 ms)."""

_UNKNOWN_AT_FIRST = 0.3
"""Variance of each coefficient of the first partition before anything was heard; later ones less."""

_DECAY_DB = 45.0
"""How far the echo is expected to decay over the whole length: late partitions begin sure of little."""

_FLOOR = 1e-9


class EchoFilter:
    """One microphone and one loudspeaker, both float32 mono 16 kHz, in step. Not thread-safe."""

    def __init__(self) -> None:
        self._spectra = np.zeros((PARTITIONS, HOP + 1), np.complex64)
        self._before = np.zeros(HOP, np.float32)
        self._weights = np.zeros((PARTITIONS, HOP + 1), np.complex64)
        falls = 10 ** (-_DECAY_DB / 10 * np.arange(PARTITIONS) / PARTITIONS)
        self._at_first = (_UNKNOWN_AT_FIRST * falls).astype(np.float32)[:, None]
        self._unsure = np.repeat(self._at_first, HOP + 1, axis=1)
        self._near = np.zeros(HOP + 1, np.float32)

    def take(self, heard: np.ndarray, played: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
        """`heard` without the echo of `played`; that echo as it is thought to be; and the power that
        the filter expects to have left of it, by what it is unsure of (mean square, the most of any
        hop). Lengths are alike, a multiple of HOP. Of what really is left 99 blocks in 100 are less
        than 11 dB above that (four simulated rooms)."""
        clean, echo = np.empty_like(heard), np.empty_like(heard)
        left = 0.0
        for begin in range(0, len(heard), HOP):
            part = slice(begin, begin + HOP)
            echo[part] = self._echo(played[part])
            clean[part] = heard[part] - echo[part]
            left = max(left, self._learn(clean[part]))
        return clean, echo, left

    def unsure_again(self) -> None:
        """The room, the loudspeaker or the way to it has changed: learn as fast as at first."""
        self._unsure = np.maximum(self._unsure, self._at_first)

    def _echo(self, played: np.ndarray) -> np.ndarray:
        frame = np.concatenate([self._before, played])
        self._before = played.copy()
        self._spectra[1:] = self._spectra[:-1]
        self._spectra[0] = np.fft.rfft(frame)
        return np.fft.irfft((self._spectra * self._weights).sum(axis=0), _SIZE)[HOP:]

    def _learn(self, error: np.ndarray) -> float:
        """Takes what is left over; returns the power of it that was to be expected."""
        spectrum = np.fft.rfft(np.concatenate([np.zeros(HOP, np.float32), error])).astype(np.complex64)
        now = np.abs(spectrum) ** 2
        self._near = np.maximum(_NEAR_SMOOTH * self._near + (1 - _NEAR_SMOOTH) * now, now)
        power = np.abs(self._spectra) ** 2
        if float(power.max()) < _FLOOR:
            return 0.0
        # Half of each frame is new: the error's spectrum has half the power of a whole frame's.
        expected = 0.5 * (power * self._unsure).sum(axis=0)
        share = self._unsure / (expected + self._near + _FLOOR)
        step = share * self._spectra.conj() * spectrum
        response = np.fft.irfft(step, _SIZE, axis=1)
        response[:, HOP:] = 0  # a linear convolution, not a circular one
        self._weights += np.fft.rfft(response, axis=1)
        kept = np.clip(1 - 0.5 * share * power, 0.0, 1.0)
        settles = (1 - _FORGETS**2) * np.abs(self._weights) ** 2
        self._unsure = (_FORGETS**2 * kept * self._unsure + settles).astype(np.float32)
        return float(2 * expected.sum()) / (HOP * _SIZE)
