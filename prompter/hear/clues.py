"""What speaks for each wording, and what it weighs: from likelihoods to one score a wording.

The score is the log of how much likelier this wording was said than none that is known. So scores
of several wordings, and "none" at 0, make one distribution (`decision.py`); the weights are fitted
as those of a multinomial logistic regression (`tests/bench/fit_decision.py`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from prompter import limits
from prompter.events import Phrase
from prompter.hear.likely import Likely
from prompter.hear.negation import negated


@dataclass(frozen=True, slots=True)
class Other:
    """What the second model makes of a wording: as in `Clues`; `like` its own free decode.

    `again`: mean log probability a token at other speeds, once looked at closer.
    """

    heard: Likely
    silent: float
    like: float
    again: float | None = None

    @property
    def evidence(self) -> float:
        """As in `Clues`."""
        return self.heard.mean - limits.SILENCE_SHARE * self.silent


@dataclass(frozen=True, slots=True)
class Clues:
    """Of one wording.

    `heard`: its likelihood in the sound; `longer`: in a longer window, once looked at closer.
    `silent`: mean log probability a token in silence: some wordings are likely whatever is heard.
    `like`: likeness to the nearest of the free decodes; `like_first`: to the likeliest of them.
    `other`: what the second model makes of it, where there is one.
    """

    phrase: Phrase
    heard: Likely
    silent: float
    like: float
    like_first: float
    longer: Likely | None = None
    other: Other | None = None

    @property
    def evidence(self) -> float:
        """How much likelier the sound makes it than silence does, a token."""
        return self.heard.mean - limits.SILENCE_SHARE * self.silent


@dataclass(frozen=True, slots=True)
class Room:
    """Of the utterance itself: mean log probability of its free decode, its length, and whether it
    needed a longer window than answers do. `other_free`: as `free`, by the second model; None
    without one."""

    free: float
    seconds: float
    long: bool
    other_free: float | None = None


Weights = dict[str, float]


def ranked(clues: Sequence[Clues], room: Room, weights: Weights) -> list[tuple[Phrase, float]]:
    """(phrase, score), best first."""
    none = _sum(weights, none_features(room))
    scores = [_sum(weights, features(c)) - none for c in clues]
    pairs = zip((c.phrase for c in clues), scores, strict=True)
    return sorted(pairs, key=lambda pair: -pair[1])


def features(clues: Clues) -> dict[str, float]:
    """What weighs for a wording, by the names of the weights. A decoy that denies ('not going up')
    weighs apart: who says it must not be taken for who says 'going up'."""
    denial = negated(clues.phrase.text)
    found = {
        "mean": clues.heard.mean,
        "silent": clues.silent,
        "tokens": float(clues.heard.tokens),
        "least": clues.heard.least,
        "like_first": clues.like_first,
        "decoy": float(not clues.phrase.answer and not denial),
        "denial": float(not clues.phrase.answer and denial),
    }
    if clues.longer is not None:
        found["longer"] = clues.longer.mean
    if clues.other is None:
        found["like"] = clues.like
    else:
        found |= {
            "other_mean": clues.other.heard.mean,
            "other_silent": clues.other.silent,
            "other_tokens": float(clues.other.heard.tokens),
            "other_least": clues.other.heard.least,
            "other_like": clues.other.like,
        }
        if clues.other.again is not None:
            found["other_again"] = clues.other.again
    return found


def none_features(room: Room) -> dict[str, float]:
    """What weighs for none of the wordings."""
    found = {
        "none": 1.0,
        "none_free": room.free,
        "none_length": math.log(room.seconds),
        "none_long": float(room.long),
    }
    if room.other_free is not None:
        found["none_other_free"] = room.other_free
    return found


def _sum(weights: Weights, found: dict[str, float]) -> float:
    return sum(weights[name] * value for name, value in found.items())
