"""How loud the room is, apart from the prompter."""

from collections import deque

import numpy as np

from prompter import limits

_BLOCK_MS = limits.BLOCK_SAMPLES * 1000 // limits.SAMPLE_RATE_HZ


class NoiseLevel:
    """Of the last seconds in which the prompter did not speak: the level that half of the blocks reach.

    Crying sounds for more than half of its time; answers are short.
    """

    def __init__(self) -> None:
        self._levels: deque[float] = deque(maxlen=limits.NOISE_MS // _BLOCK_MS)

    def push(self, block: np.ndarray, own_db: float, speaking: bool) -> None:
        """A microphone block (float32[512]); what may be the prompter's own (`own_db`) does not count."""
        power = float(np.dot(block, block)) / len(block)
        level_db = 10 * float(np.log10(power + 1e-12))
        if not speaking and level_db > -110 and (level_db > own_db or own_db <= limits.QUIET_DB):
            self._levels.append(level_db)

    @property
    def db(self) -> float | None:
        """dB of full scale (RMS); None before half of the time was heard: an answer alone is no noise."""
        if len(self._levels) < (self._levels.maxlen or 0) // 2:
            return None
        return float(np.median(self._levels))
