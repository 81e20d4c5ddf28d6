"""Finds in a recording where a known clip was played, and measures from sound to sound."""

from dataclasses import dataclass

import numpy as np
import soxr

LOUD_DB = -40.0
"""Samples within this of the peak count as sound (the definition of a reply's time)."""

_SEARCH_HZ = 8_000


@dataclass(frozen=True)
class Found:
    """`begin_s`, `end_s`: first and last sample above LOUD_DB of its peak. `likeness`: 0 to 1."""

    begin_s: float
    end_s: float
    likeness: float


def edges(sound: np.ndarray) -> tuple[int, int]:
    """First and last sample above LOUD_DB of the peak."""
    loud = np.flatnonzero(np.abs(sound) > np.max(np.abs(sound)) * 10 ** (LOUD_DB / 20))
    return int(loud[0]), int(loud[-1])


def find(clip: np.ndarray, clip_hz: int, sound: np.ndarray, sound_hz: int, after_s: float, within_s: float) -> Found | None:
    """The first place between `after_s` and `within_s` later at which `clip` was played.

    Normalised cross-correlation at 8 kHz; a place counts from a likeness of 0.6.
    """
    wanted = soxr.resample(clip, clip_hz, _SEARCH_HZ)
    begin = int(after_s * sound_hz)
    part = sound[begin : begin + int((within_s + len(clip) / clip_hz) * sound_hz)]
    part = soxr.resample(part, sound_hz, _SEARCH_HZ)
    if len(part) <= len(wanted):
        return None
    size = 1 << (len(part) + len(wanted)).bit_length()
    spectrum = np.fft.rfft(part, size) * np.conj(np.fft.rfft(wanted, size))
    match = np.fft.irfft(spectrum, size)[: len(part) - len(wanted) + 1]
    energy = np.concatenate([[0.0], np.cumsum(part.astype(np.float64) ** 2)])
    local = energy[len(wanted) :] - energy[: -len(wanted)]
    floor = 1e-3 * float(np.dot(wanted, wanted))
    likeness = match / np.sqrt(np.maximum(local, floor) * float(np.dot(wanted, wanted)))
    good = np.flatnonzero(likeness > 0.6)
    if not len(good):
        return None
    near = likeness[good[0] : good[0] + _SEARCH_HZ // 10]
    place = int(good[0] + np.argmax(near))
    first, last = edges(clip)
    start_s = after_s + place / _SEARCH_HZ
    return Found(start_s + first / clip_hz, start_s + last / clip_hz, float(near.max()))
