"""Makes an engine's raw sound into a clip: no silence around it, one loudness, no clicks.

The silence matters: espeak-ng begins a sentence with up to 50 ms of it and can end it with 236 ms,
and that would be added to every reply.
"""

import numpy as np

TRIM_VERSION = "1"
"""Part of the cache's key: raise it when clips come out differently."""

SILENCE_DB = -40.0
"""Sound this far below the clip's peak is silence."""

MARGIN_MS = 5
"""Kept on both sides, and faded, so that no edge clicks."""

PEAK = 0.9
"""Every clip's highest sample."""


def trimmed(raw: np.ndarray, rate_hz: int) -> np.ndarray:
    """`raw` (mono, any scale) as float32 in -PEAK..PEAK, without silence around it.

    Values lie on the 16-bit grid, so a clip that has been through a file is the same to the bit.
    Empty if there is no sound in it.
    """
    sound = np.asarray(raw, dtype=np.float64)
    level = np.abs(sound)
    peak = float(level.max(initial=0.0))
    if peak <= 0.0:
        return np.zeros(0, np.float32)
    loud = np.flatnonzero(level >= peak * 10 ** (SILENCE_DB / 20))
    margin = MARGIN_MS * rate_hz // 1000
    first, last = max(0, int(loud[0]) - margin), min(len(sound), int(loud[-1]) + 1 + margin)
    sound = sound[first:last] * (PEAK / peak)
    ramp = np.linspace(0.0, 1.0, margin, endpoint=False)[: len(sound)]
    sound[: len(ramp)] *= ramp
    sound[len(sound) - len(ramp) :] *= ramp[::-1]
    return (np.round(sound * 32767) / 32768).astype(np.float32)
