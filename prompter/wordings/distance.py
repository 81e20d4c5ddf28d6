"""How far apart two wordings sound, before anybody has said them: by their phonemes."""

from collections.abc import Iterable, Sequence
from functools import lru_cache

from prompter.speak.espeak import phonemes
from prompter.speak.voice import engine_voice
from prompter.wordings.features import segments, unlikeness

ACCENTS = ("en-us", "en-gb")
"""Wordings must be apart in each of these."""

SUBSTITUTION = 6.0
"""Cost of another phoneme in place of one, for an unlikeness of 1. Of 1 to 100 it tells best which
wordings are taken for each other (area under the curve 0.752; 0.690 at 1, 0.703 with any other phoneme
a whole one): tests/bench/bench_words.py figures."""

Sounds = tuple[str, ...]


class Distances:
    """Distances between wordings; the phonemes of all are asked of the voice at once.

    Raises CannotDo if there is no voice.
    """

    def __init__(self, wordings: Iterable[str]) -> None:
        texts = list(dict.fromkeys(wordings))
        spoken = [phonemes(texts, engine_voice(accent, 160, 50)) for accent in ACCENTS]
        self._sounds = {
            text: tuple(_split(said[at]) for said in spoken) for at, text in enumerate(texts)
        }

    def between(self, one: str, other: str, substitution: float = SUBSTITUTION) -> float:
        """0 (sound the same) to 1 (nothing alike), in the accent in which they are nearest."""
        pairs = zip(self._sounds[one], self._sounds[other], strict=True)
        return min(distance(a, b, substitution) for a, b in pairs)


def _split(said: Sequence[str]) -> Sounds:
    return tuple(segment for phoneme in said for segment in segments(phoneme))


@lru_cache(maxsize=65536)
def distance(one: Sounds, other: Sounds, substitution: float = SUBSTITUTION) -> float:
    """The least cost of turning one row of phonemes into the other, by the longer one's length.

    A phoneme more or less costs 1; another in its place `substitution` times their unlikeness, and
    no more than 1 (rows with costs of one's own for every two signs are what no library at hand
    compares).
    """
    above = [float(at) for at in range(len(other) + 1)]
    for row, a in enumerate(one, 1):
        here = [float(row)]
        for column, b in enumerate(other, 1):
            replaced = above[column - 1] + min(1.0, substitution * unlikeness(a, b))
            here.append(min(replaced, above[column] + 1, here[column - 1] + 1))
        above = here
    return above[-1] / max(len(one), len(other), 1)
