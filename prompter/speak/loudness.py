"""How loud the prompter speaks: by the noise, within the plan's limits, and never clipped. Pure.

All gains are in dB against the usual loudness, at which clips are rendered.
"""

from dataclasses import dataclass

import numpy as np

USUAL_DB = -19.6
"""Active speech level (ITU-T P.56) of the embedded voice as the mixer gives it, dB of full scale:
median of 47 prompts -19.6 (-21.8 to -16.0)."""

ABOVE_NOISE_DB = 15.0
"""Speech this far above the noise is all heard (ANSI S3.5-1997, speech intelligibility index: from memory)."""

ASSUMED_DB = -24.0
"""How loud the microphone is taken to hear the prompter where that is not known: as somebody at arm's
length. Common practice, no source."""

FALLS_DB = 1.0
"""Louder at once, quieter by this with each prompt: crying comes and goes."""

PEAK = 1.05
"""Of a clip; with the mixer's gain for speech (0.85), and the beat beneath, below full scale."""

_AHEAD_S = 0.001
"""The limiter turns down this long before a peak: too short to be heard as a change of loudness."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The plan's: never quieter, never louder than this, dB against the usual loudness."""

    quietest_db: float = 0.0
    loudest_db: float = 9.0


def gain_db(noise_db: float | None, heard_db: float | None, before_db: float, limits: Limits) -> float:
    """The gain for the next prompt, whole dB.

    `noise_db`: of the room in the microphone; None while nothing is known (then the usual loudness).
    `heard_db`: the prompter's speech there, at its usual loudness; None if it is not known.
    `before_db`: the gain of the prompt before.
    """
    wanted = 0.0
    if noise_db is not None:
        wanted = noise_db + ABOVE_NOISE_DB - (ASSUMED_DB if heard_db is None else heard_db)
    wanted = max(wanted, before_db - FALLS_DB)
    return float(round(min(max(wanted, limits.quietest_db), limits.loudest_db)))


def louder(clip: np.ndarray, by_db: float, rate_hz: int) -> np.ndarray:
    """`clip` (float32 mono) by so much louder, its peaks held at PEAK by a limiter that looks ahead.

    Quieter, or louder without reaching PEAK, is the same samples scaled.
    """
    if by_db == 0:
        return clip
    scaled = clip * np.float32(10 ** (by_db / 20))
    if np.abs(scaled).max(initial=0.0) <= PEAK:
        return scaled
    width = 2 * round(_AHEAD_S * rate_hz) + 1
    needed = np.minimum(1.0, PEAK / np.maximum(np.abs(scaled), 1e-6))
    padded = np.pad(needed, width - 1, constant_values=1.0)
    least = np.lib.stride_tricks.sliding_window_view(padded, width).min(axis=1)
    # Each mean is over minima that all have this sample in their window: never above what it needs.
    summed = np.cumsum(np.concatenate([[0.0], least]))
    smooth = (summed[width:] - summed[:-width]) / width
    held: np.ndarray = np.clip(scaled * smooth[: len(scaled)], -PEAK, PEAK).astype(np.float32)
    return held
