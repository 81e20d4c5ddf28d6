"""Picks the few wordings worth scoring: scoring all that are allowed would cost too much time."""

import re
from bisect import insort
from collections.abc import Sequence
from difflib import SequenceMatcher
from functools import lru_cache

import numpy as np

from prompter.events import Phrase

_FOLDS = (
    ("ph", "f"), ("ght", "t"), ("gh", ""), ("ck", "k"), ("qu", "kw"), ("wh", "w"), ("kn", "n"),
    ("wr", "r"), ("tch", "C"), ("ch", "C"), ("sh", "S"), ("th", "T"), ("ee", "i"), ("ea", "i"),
    ("oo", "u"), ("ou", "u"), ("ow", "o"), ("ai", "e"), ("ay", "e"), ("ce", "se"), ("ci", "si"),
    ("c", "k"), ("x", "ks"), ("z", "s"), ("v", "f"), ("b", "p"), ("d", "t"), ("g", "k"), ("j", "C"),
)  # fmt: skip


def plain_words(text: str) -> str:
    """Lower case, letters of any script, digits and apostrophes only, single spaces."""
    return " ".join(re.sub(r"[^\w' ]+|_", " ", text.lower().replace("’", "'")).split())


@lru_cache(maxsize=4096)
def sounds_of(text: str) -> str:
    """A rough spelling by sound: what a recogniser confuses becomes equal."""
    word = plain_words(text).replace("'", "")
    for old, new in _FOLDS:
        word = word.replace(old, new)
    return re.sub(r"(.)\1+", r"\1", word)


@lru_cache(maxsize=8192)
def likeness(heard: str, wording: str) -> float:
    """0 (nothing in common) to 1 (the same), by sound, spaces left out."""
    a, b = sounds_of(heard).replace(" ", ""), sounds_of(wording).replace(" ", "")
    if not a or not b:
        return 0.0
    return SequenceMatcher(None, a, b, autojunk=False).ratio()


class Shortlist:
    """Which of `phrases` sound most like any of the `texts` (free decodes).

    Comparing all exactly takes longer than the recogniser's own pass, so each is first bounded by
    the letters they share and by their longest common subsequence, and only what can still be
    among the nearest is compared: the same phrases as by comparing all.
    """

    def __init__(self, phrases: Sequence[Phrase], texts: Sequence[str]) -> None:
        self._texts = list(dict.fromkeys(texts))
        self._like: dict[str, float] = {}
        bounds = _bounds([p.text for p in phrases], self._texts)
        likeliest = np.argsort(-bounds.max(axis=1, initial=0.0), kind="stable").tolist()
        rows = [(number, phrases[number], bounds[number].tolist()) for number in likeliest]
        self._answers = [row for row in rows if row[1].answer]
        self._decoys = [row for row in rows if not row[1].answer]

    def nearest(self, keep: tuple[int, int]) -> list[Phrase]:
        """The answers and the decoys most like what was heard, so many of each, best first."""
        answers, decoys = keep
        best = self._best(self._answers, answers) if answers else []
        return [*best, *(self._best(self._decoys, decoys) if decoys else [])]

    def like(self, wording: str) -> float:
        """Likeness to the nearest of the texts, 0 to 1."""
        if wording not in self._like:
            self._like[wording] = max((likeness(text, wording) for text in self._texts), default=0.0)
        return self._like[wording]

    def _best(self, rows: Sequence[tuple[int, Phrase, list[float]]], keep: int) -> list[Phrase]:
        found: list[tuple[float, int, Phrase]] = []  # (-likeness, place, phrase), best first
        for number, phrase, bounds in rows:
            least = -found[keep - 1][0] if len(found) >= keep else -1.0
            if max(bounds, default=0.0) < least:
                break
            like = self._like.get(phrase.text)
            if like is None:
                if self._tighter(phrase.text, bounds, least) < least:
                    continue
                like = self.like(phrase.text)
            insort(found, (-like, number, phrase), key=lambda row: row[:2])
        return [phrase for _, _, phrase in found[:keep]]

    def _tighter(self, wording: str, bounds: Sequence[float], least: float) -> float:
        """A closer upper bound of its likeness; of the texts that can still reach `least`."""
        pairs = zip(self._texts, bounds, strict=True)
        return max((_bound(text, wording) for text, most in pairs if most >= least), default=-1.0)


_BUCKETS = 64
"""Letters are counted by their code in so many; two in one bucket only make a bound wider."""


@lru_cache(maxsize=8192)
def _letters(wording: str) -> tuple[np.ndarray, int]:
    """How often each letter stands in its sounds, and how many there are."""
    sounds = sounds_of(wording).replace(" ", "")
    counts = np.zeros(_BUCKETS, np.int16)
    for letter in sounds:
        counts[ord(letter) % _BUCKETS] += 1
    return counts, len(sounds)


def _bounds(wordings: Sequence[str], texts: Sequence[str]) -> np.ndarray:
    """Upper bounds of `likeness`, (wordings, texts): likeness counts letters that both have."""
    if not wordings or not texts:
        return np.zeros((len(wordings), len(texts)))
    own, heard = [_letters(w) for w in wordings], [_letters(t) for t in texts]
    counts = np.stack([counts for counts, _ in own])
    shared = np.stack([np.minimum(counts, other).sum(axis=1) for other, _ in heard], axis=1)
    lengths = np.add.outer([n for _, n in own], [n for _, n in heard])
    return 2 * shared / np.maximum(lengths, 1)


@lru_cache(maxsize=8192)
def _places(wording: str) -> tuple[dict[str, int], int]:
    """A bit for each place where a letter stands in its sounds, and how many places there are."""
    sounds = sounds_of(wording).replace(" ", "")
    places: dict[str, int] = {}
    for at, letter in enumerate(sounds):
        places[letter] = places.get(letter, 0) | 1 << at
    return places, len(sounds)


def _bound(text: str, wording: str) -> float:
    """Upper bound of `likeness`: what it counts is a common subsequence, of which this takes the
    longest, a word of bits at a time (H. Hyyrö, 2004)."""
    places, length = _places(wording)
    heard = sounds_of(text).replace(" ", "")
    every = (1 << length) - 1
    left = every  # a bit is cleared for each letter of the longest common subsequence
    for letter in heard:
        met = left & places.get(letter, 0)
        left = ((left + met) | (left - met)) & every
    return 2 * (length - left.bit_count()) / max(1, length + len(heard))
