"""Finds where somebody begins and stops speaking, and keeps that piece of sound."""

from collections import deque

import numpy as np

from prompter import limits
from prompter.hear.detector import SpeechDetector

BLOCK_MS = limits.BLOCK_SAMPLES * 1000 // limits.SAMPLE_RATE_HZ


class Endpointer:
    """Fed block by block; its attributes tell where the current utterance stands.

    `open`: an utterance is being collected. `onset_ms`, `last_sound_ms`: its first and last sound.
    `suspects`: nothing is open, but the last block may be the beginning of speech.
    `silent_ms`: quiet time since then. Whether it is over is for the caller to say (`close`).
    """

    def __init__(self, detector: SpeechDetector | None = None) -> None:
        self._detector = detector or SpeechDetector()
        self._before: deque[np.ndarray] = deque(maxlen=limits.PRE_ROLL_BLOCKS)
        self._blocks: list[np.ndarray] = []
        self._run = 0
        self._peak_db = -120.0
        self.open = False
        self.onset_ms = self.last_sound_ms = self.silent_ms = 0
        self.spoken_blocks = 0
        self.suspects = False

    def push(self, block: np.ndarray, at_ms: int, own_db: float = limits.QUIET_DB) -> bool:
        """Take the block that ended at `at_ms`; True when an utterance begins with it.

        `own_db`: up to this level it may be the prompter's own voice, which is not speech here.
        """
        level_db = _level_db(block)
        chance = self._detector.probability(block) if level_db > limits.QUIET_DB else 0.0
        if level_db <= own_db:
            chance = 0.0
        self.suspects = not self.open and chance >= limits.SPEECH_SUSPECTED
        if not self.open:
            return self._wait(block, chance, level_db, at_ms)
        self._blocks.append(block)
        self._peak_db = max(self._peak_db, level_db)
        faded = level_db < self._peak_db - limits.FADED_DB
        if chance >= limits.SPEECH_STAYS and not faded:
            self.last_sound_ms, self.silent_ms = at_ms, 0
            self.spoken_blocks += 1
        else:
            self.silent_ms = at_ms - self.last_sound_ms
        return False

    def _wait(self, block: np.ndarray, chance: float, level_db: float, at_ms: int) -> bool:
        self._before.append(block)
        self._run = self._run + 1 if chance >= limits.SPEECH_BEGINS else 0
        if self._run < limits.ONSET_BLOCKS:
            return False
        self.open = True
        self._blocks = list(self._before)
        self._before.clear()
        self._peak_db = max(_level_db(b) for b in self._blocks[-self._run :])
        self.onset_ms = at_ms - self._run * BLOCK_MS
        self.last_sound_ms, self.silent_ms = at_ms, 0
        self.spoken_blocks = self._run
        self._run = 0
        return True

    @property
    def length_ms(self) -> int:
        """From the first sound to now."""
        return self.last_sound_ms + self.silent_ms - self.onset_ms

    def sound(self) -> np.ndarray:
        """The utterance so far, with what came shortly before it: float32, mono, 16 kHz."""
        return np.concatenate(self._blocks)

    def close(self) -> None:
        """The utterance is over (or cut): wait for the next one."""
        self._before.extend(self._blocks[-limits.PRE_ROLL_BLOCKS :])
        self._blocks = []
        self.open = False
        self._run = 0


def _level_db(block: np.ndarray) -> float:
    """RMS level against full scale."""
    power = float(np.dot(block, block)) / len(block)
    return 10 * float(np.log10(power + 1e-12))
