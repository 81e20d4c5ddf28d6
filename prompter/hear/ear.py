"""What every recogniser ("ear") must be able to do, so that any make can sit beside another."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from prompter.events import Phrase
from prompter.hear.numbers import Reading


@dataclass(frozen=True, slots=True)
class Besides:
    """A second model's own free decode and evidence, as in `Ranking`."""

    model: str
    text: str
    evidence: dict[str, float]


@dataclass(frozen=True, slots=True)
class Ranking:
    """What one ear makes of one utterance.

    `ranked`: (phrase, score), best first; the score is the log of how much likelier the wording was
    said than none that is known; for an ear that only names a phrase, 0.0 for that one. Phrases the
    ear gave no score are left out. A phrase without an answer is a decoy.
    `evidence`: of each of these wordings, how much likelier the sound makes it (mean log probability
    a token) than silence does. `readings`: numbers that may have been said, with their evidence;
    `decoded`: the one that stands in `text`.
    `text`: what it heard without being told what to expect. `window`: the analysis window in
    frames of 10 ms; 0 marks an ear that names but does not score. `unable`: wordings it can never
    name. `closer`: looks again at more wordings and in a longer window, which costs time.
    `besides`: what another model, whose likelihoods are in the scores, made of it.
    """

    ear: str
    ranked: list[tuple[Phrase, float]] = field(default_factory=list)
    readings: list[tuple[Reading, float]] = field(default_factory=list)
    decoded: Reading | None = None
    text: str = ""
    window: int = 0
    unable: frozenset[str] = frozenset()
    evidence: dict[str, float] = field(default_factory=dict)
    closer: Callable[[], "Ranking"] | None = None
    besides: Besides | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Who made it."""
        return (self.ear,) if self.besides is None else (self.ear, self.besides.model)

    @property
    def texts(self) -> tuple[str, ...]:
        """What each that made it heard without being told what to expect."""
        return (self.text,) if self.besides is None else (self.text, self.besides.text)

    @property
    def evidences(self) -> tuple[dict[str, float], ...]:
        """`evidence`, of each that made it."""
        return (self.evidence,) if self.besides is None else (self.evidence, self.besides.evidence)


class Ear(Protocol):
    """A recogniser. `score` may take long and is called from one thread at a time."""

    name: str

    def ready(self) -> tuple[bool, str]:
        """Whether it can be loaded, and if not, what is missing and how to mend it."""
        ...

    def load(self) -> None:
        """Load the model (slow, once). Raises CannotDo if it is not ready."""
        ...

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        """Do ahead what the first utterance with these wordings would wait for; may do nothing."""
        ...

    def score(
        self, sound: np.ndarray, phrases: Sequence[Phrase], asks_number: bool = False
    ) -> Ranking:
        """Rank `phrases` for `sound` (float32, mono, 16 kHz). `asks_number`: a saturation was
        asked for, so a bare number counts and an unclear one is looked for."""
        ...
