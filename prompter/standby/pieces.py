"""Cuts out of the room's sound what could be a start phrase: level first, then the speech detector.

Nothing is kept but the last few seconds, in memory, and those are written over.
"""

from collections import deque

import numpy as np

from prompter import limits
from prompter.hear.detector import SpeechDetector
from prompter.hear.endpoint import BLOCK_MS
from prompter.standby import bounds

_BLOCKS = bounds.LONGEST_MS // BLOCK_MS


class Pieces:
    """Fed block by block; gives the sound worth recognising, and no other.

    A piece ends where speech pauses; where it does not pause (crying is speech to the detector),
    the last seconds are looked at now and then. `level_db`: RMS of the last block, of full scale.
    """

    def __init__(self, detector: SpeechDetector | None = None) -> None:
        self._detector = detector or SpeechDetector()
        self._blocks: deque[np.ndarray] = deque(maxlen=_BLOCKS)
        self._spoken: deque[bool] = deque(maxlen=_BLOCKS)
        self._silent = bounds.GAP_BLOCKS
        self._unseen = self._unbroken = 0
        self.level_db = -120.0

    def push(self, block: np.ndarray) -> np.ndarray | None:
        """Takes float32[512]; the piece that ends with it (float32, mono, 16 kHz), mostly None."""
        self.level_db = 10 * float(np.log10(float(np.dot(block, block)) / len(block) + 1e-12))
        chance = self._detector.probability(block) if self.level_db > limits.QUIET_DB else 0.0
        spoken = chance >= (limits.SPEECH_BEGINS if self._silent else limits.SPEECH_STAYS)
        self._blocks.append(block)
        self._spoken.append(spoken)
        self._silent = 0 if spoken else self._silent + 1
        self._unseen += spoken
        self._unbroken += spoken
        paused = self._silent == bounds.PAUSE_BLOCKS
        due = self._unbroken >= bounds.UNBROKEN_BLOCKS
        if not paused and not due:
            return None
        self._unbroken = 0
        return self._piece()

    def forget(self) -> None:
        """Leaves nothing of what was heard."""
        self._blocks.clear()
        self._spoken.clear()
        self._detector.reset()
        self._silent, self._unseen, self._unbroken = bounds.GAP_BLOCKS, 0, 0

    def _piece(self) -> np.ndarray | None:
        """From the first speech that no long gap parts from now."""
        spoken = list(self._spoken)
        begin, gap = len(spoken), 0
        for at in range(len(spoken) - 1, -1, -1):
            gap = 0 if spoken[at] else gap + 1
            if gap > bounds.GAP_BLOCKS:
                break
            if spoken[at]:
                begin = at
        if sum(spoken[begin:]) < bounds.SPOKEN_BLOCKS or self._unseen < bounds.NEW_BLOCKS:
            return None
        self._unseen = 0
        return np.concatenate(list(self._blocks)[max(0, begin - bounds.BEFORE_BLOCKS) :])
