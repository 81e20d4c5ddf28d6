"""Scripted parts and the streaming path, for the hearing's tests."""

from collections.abc import Sequence

import numpy as np

from prompter import limits
from prompter.events import Phrase
from prompter.hear.ear import Ranking
from prompter.hear.endpoint import BLOCK_MS

PHRASES = (
    Phrase("chest flat", "flat"),
    Phrase("no rise", "flat"),
    Phrase("going up", "rising"),
    Phrase("still in place", "in place"),
    Phrase("it came out", "came out"),
    Phrase("all the way", "passed"),
    Phrase("won't pass", "won't pass"),
    Phrase("breathing fine", "better", "good"),
    Phrase("still struggling", "not better"),
    Phrase("no breaths", "not breathing"),
    Phrase("phone on speaker", "on speaker", "plain"),
    Phrase("that's done", "done", "plain"),
)


class ScriptedDetector:
    """Speech where the block is loud; so a test draws its speech as ones and silence as zeros."""

    def reset(self) -> None:
        pass

    def probability(self, block: np.ndarray) -> float:
        return 1.0 if float(np.abs(block).max()) > 0.05 else 0.0


class ScriptedEar:
    """Answers from a list of rankings (the last one for ever), and remembers what it was asked."""

    def __init__(self, *rankings: Ranking | Exception, name: str = "scripted") -> None:
        self.name = name
        self._rankings = list(rankings)
        self.asked: list[tuple[np.ndarray, Sequence[Phrase]]] = []

    def ready(self) -> tuple[bool, str]:
        return True, ""

    def load(self) -> None:
        pass

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        pass

    def score(self, sound: np.ndarray, phrases: Sequence[Phrase], asks_number: bool = False) -> Ranking:
        self.asked.append((sound, phrases))
        found = self._rankings.pop(0) if len(self._rankings) > 1 else self._rankings[0]
        if isinstance(found, Exception):
            raise found
        return found


def sure_of(phrase: Phrase, ear: str = "scripted", window: int = limits.WINDOW_FRAMES, score: float = 6.0) -> Ranking:
    """A ranking that leaves no doubt, unless `score` (log-odds, nearly) does."""
    other = Phrase("something else", "else")
    return Ranking(ear, [(phrase, score), (other, min(-1.0, score - 7))], text=phrase.text, window=window)


def drawn(*pieces: tuple[str, int]) -> np.ndarray:
    """Sound from ('speech' | 'silence', blocks)."""
    parts = [np.full(n * limits.BLOCK_SAMPLES, 0.2 if k == "speech" else 0.0) for k, n in pieces]
    return np.concatenate(parts).astype(np.float32)


def stream(hearing: object, sound: np.ndarray, begin_ms: int = 0) -> list[object]:
    """Push a sound block by block; all reports in order."""
    reports: list[object] = []
    for number in range(len(sound) // limits.BLOCK_SAMPLES):
        block = sound[number * limits.BLOCK_SAMPLES : (number + 1) * limits.BLOCK_SAMPLES]
        reports += hearing.push(block, begin_ms + (number + 1) * BLOCK_MS)
    return reports
