"""Puts together, step by step, what may be said and how easily it is taken for something else."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from prompter.events import Phrase
from prompter.flow.document import Flow
from prompter.flow.table import BUILT_IN
from prompter.wordings.allowed import allowed_at
from prompter.wordings.distance import Distances
from prompter.wordings.opposites import opposite_answers


@dataclass(frozen=True, slots=True)
class Near:
    """The wording that sounds most like another one, and how far apart they are (0 to 1)."""

    wording: str
    answer: str
    distance: float


@dataclass(frozen=True, slots=True)
class Word:
    """One wording at one step: the nearest wording of any other answer, and of an opposite one."""

    wording: str
    taught: bool
    nearest: Near | None
    nearest_opposite: Near | None


@dataclass(frozen=True, slots=True)
class AnswerHere:
    answer: str
    risk: str
    opposites: tuple[str, ...]
    words: tuple[Word, ...]


class Overview:
    """Every step's answers with all their wordings; the words that work everywhere are rivals."""

    def __init__(self, flow: Flow) -> None:
        self.flow = flow
        self._opposites = opposite_answers(flow)

    @cached_property
    def _sounds(self) -> Distances:
        return Distances(w for body in self.flow.answers.values() for w in body.wordings)

    @property
    def steps(self) -> list[str]:
        """Steps that have answers of their own."""
        return [n for n, step in self.flow.steps.items() if set(step.answers) & set(self.flow.answers)]

    def at(self, step: str) -> list[AnswerHere]:
        """The step's own answers."""
        allowed = allowed_at(self.flow, step)
        return self._answers(self.flow.steps[step].answers, allowed)

    def everywhere(self) -> list[AnswerHere]:
        """What works at every step, against all that can be said at any."""
        names = [*self.flow.everywhere, *BUILT_IN]
        every = [
            Phrase(w, a, body.risk) for a, body in self.flow.answers.items() for w in body.wordings
        ]
        return self._answers(names, every)

    def _answers(self, names: Iterable[str], allowed: Sequence[Phrase]) -> list[AnswerHere]:
        here = {phrase.answer for phrase in allowed}
        found = []
        for name in dict.fromkeys(names):
            if name not in self.flow.answers:
                continue
            others = [p for p in allowed if p.answer != name]
            opposed = [p for p in others if frozenset((name, p.answer)) in self._opposites]
            body = self.flow.answers[name]
            words = tuple(
                Word(w, at == 0, self._nearest(w, others), self._nearest(w, opposed))
                for at, w in enumerate(body.wordings)
            )
            opposites = tuple(sorted({p.answer for p in opposed} & here))
            found.append(AnswerHere(name, body.risk, opposites, words))
        return found

    def _nearest(self, wording: str, others: Sequence[Phrase]) -> Near | None:
        if not others:
            return None
        near = min(others, key=lambda p: self._sounds.between(wording, p.text))
        return Near(near.text, near.answer, self._sounds.between(wording, near.text))
