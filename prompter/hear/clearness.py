"""How far an utterance stands out of the room's noise, from its own sound."""

import numpy as np

from prompter import limits

_SHARE_QUIET, _SHARE_LOUD = 10, 85


def rises_db(sound: np.ndarray) -> float:
    """By how much the loud blocks of `sound` (float32, mono, 16 kHz, with what came shortly before it) are above
    its quiet ones, dB: near the signal-to-noise ratio in steady noise, more where the noise comes and goes."""
    whole = len(sound) // limits.BLOCK_SAMPLES * limits.BLOCK_SAMPLES
    if not whole:
        return 0.0
    powers = (sound[:whole].astype(np.float64).reshape(-1, limits.BLOCK_SAMPLES) ** 2).mean(axis=1)
    quiet, loud = np.percentile(powers, (_SHARE_QUIET, _SHARE_LOUD))
    return float(10 * np.log10((loud + 1e-12) / (quiet + 1e-12)))
