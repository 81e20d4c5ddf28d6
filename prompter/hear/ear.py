"""What every recogniser ("ear") must be able to do, so that any make can sit beside another."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from prompter.events import Phrase


@dataclass(frozen=True, slots=True)
class Ranking:
    """What one ear makes of one utterance.

    `ranked`: (phrase, score), best first; the score is a mean log probability a token (0 is
    perfect) or, for an ear that only names a phrase, 0.0 for that one. Phrases the ear gave no
    score are left out. `text`: what it heard without being told what to expect. `window`: the
    ear's analysis window, in its own frames (0: it has none), as thresholds differ with it.
    """

    ear: str
    ranked: list[tuple[Phrase, float]] = field(default_factory=list)
    text: str = ""
    window: int = 0


class Ear(Protocol):
    """A recogniser. `score` may take long and is called from one thread at a time."""

    name: str

    def ready(self) -> tuple[bool, str]:
        """Whether it can be loaded, and if not, what is missing and how to mend it."""
        ...

    def load(self) -> None:
        """Load the model (slow, once). Raises CannotDo if it is not ready."""
        ...

    def score(self, sound: np.ndarray, phrases: Sequence[Phrase]) -> Ranking:
        """Rank `phrases` for `sound` (float32, mono, 16 kHz)."""
        ...
