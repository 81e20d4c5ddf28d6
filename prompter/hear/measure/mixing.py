"""Lays room noise under a clip at a chosen distance, the same way for the same seed."""

import hashlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.clip import read_clip

_PIECE = 320
"""20 ms: the speech level is taken from pieces of this length."""

_ACTIVE = 1e-3
"""Pieces within 30 dB of the loudest are speech; the rest are pauses."""


def active_rms(sound: np.ndarray) -> float:
    """RMS over the 20 ms pieces within 30 dB of the loudest (float32, mono, 16 kHz)."""
    size = min(_PIECE, len(sound)) or 1
    pieces = sound[: len(sound) // size * size].reshape(-1, size).astype(np.float64)
    power = (pieces**2).mean(axis=1)
    if not len(power) or power.max() == 0:
        return 0.0
    return float(np.sqrt(power[power >= power.max() * _ACTIVE].mean()))


class Surroundings:
    """Recorded noise at `snr_db` below the speech: RMS over the clip's active speech against RMS
    of the noise that lies under it.

    A clip without speech gets the noise that `speech_rms` would have. Raises CannotDo if a file
    holds no sound.
    """

    def __init__(
        self, files: Sequence[Path], snr_db: float, seed: int, speech_rms: float
    ) -> None:
        self._noises = [_trimmed(read_clip(path), path) for path in files]
        self._snr_db, self._seed, self._speech_rms = snr_db, seed, speech_rms

    def around(self, clip: np.ndarray, name: str, has_speech: bool = True) -> np.ndarray:
        """The clip and a second after it, in noise. `name` and the seed draw recording and offset,
        so a clip sounds the same whichever others are measured."""
        drawn = hashlib.sha256(f"{self._seed}/{name}".encode()).digest()
        random = np.random.default_rng(list(drawn))
        noise = self._noises[int(random.integers(len(self._noises)))]
        total = len(clip) + limits.SAMPLE_RATE_HZ
        under = np.resize(np.roll(noise, -int(random.integers(len(noise)))), total)
        speech = (active_rms(clip) if has_speech else 0.0) or self._speech_rms
        rms = float(np.sqrt(np.mean(under.astype(np.float64) ** 2))) or 1.0
        mixed = under * (speech / 10 ** (self._snr_db / 20) / rms)
        mixed[: len(clip)] += clip
        return (mixed / max(1.0, float(np.abs(mixed).max()))).astype(np.float32)


def _trimmed(noise: np.ndarray, path: Path) -> np.ndarray:
    """Without digital silence at both ends, which short recordings are filled up with."""
    sounding = np.flatnonzero(np.abs(noise) > np.abs(noise).max(initial=0.0) * 1e-4)
    if not len(sounding):
        raise CannotDo("is silent.", str(path), "Give a recording of the noise.")
    return noise[sounding[0] : sounding[-1] + 1]
