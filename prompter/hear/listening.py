"""A recorded clip through the path that live sound takes: what was heard in it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase, Risk
from prompter.hear.clip import blocks_of
from prompter.hear.ear import Ear
from prompter.hear.endpoint import BLOCK_MS
from prompter.hear.hearing import Heard, Hearing
from prompter.hear.scorer import InlineScorer


@dataclass(frozen=True, slots=True)
class Listened:
    """Every utterance that was found, in order, and what went wrong (an ear that failed)."""

    heard: list[Heard]
    trouble: list[str]


def listen(sound: np.ndarray, ears: Sequence[Ear], allowed: Sequence[Phrase]) -> Listened:
    """Push `sound` (float32, mono, 16 kHz) block by block, a second of silence behind it."""
    hearing = Hearing(ears, InlineScorer())
    hearing.expect(allowed)
    found: list[Heard] = []
    at_ms, quiet = 0, np.zeros(limits.BLOCK_SAMPLES, np.float32)
    for block, at_ms in blocks_of(sound):
        found += [r for r in hearing.push(block, at_ms) if isinstance(r, Heard)]
    while hearing.waiting:  # a slow machine needs more than a second of silence
        at_ms += BLOCK_MS
        found += [r for r in hearing.push(quiet, at_ms) if isinstance(r, Heard)]
    spared = [f"'{name}' is done without: {why}" for name, why in hearing.spared()]
    return Listened(found, hearing.trouble() + spared)


def surest(found: Iterable[Heard]) -> Heard | None:
    """The believed utterance, or the one nearest to it."""
    return max(found, key=lambda h: (h.believed, h.score is not None, h.score or 0), default=None)


def allowed_phrases(text: str, risk: str) -> list[Phrase]:
    """Phrases from "chest flat; going up"; each is its own answer. Raises CannotDo."""
    if risk not in get_args(Risk):
        raise CannotDo(
            f"'{risk}' is no risk.", "--risk", f"Give one of {', '.join(get_args(Risk))}."
        )
    wordings = [" ".join(part.split()) for part in text.split(";")]
    if not any(wordings):
        raise CannotDo(
            "no phrase is given.", "--phrases", 'Give some, as "chest flat; going up".'
        )
    return [Phrase(w, w.lower(), risk) for w in dict.fromkeys(wordings) if w]  # type: ignore[arg-type]
