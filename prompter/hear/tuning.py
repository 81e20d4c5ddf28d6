"""Finds which wording of an answer is heard best in one voice and room, from recordings in calm.

Each recording goes through the path that live sound takes, against the wordings that the step really
allows, at several steps; the worst of them counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from prompter import limits
from prompter.events import Phrase
from prompter.hear.clip import blocks_of
from prompter.hear.detector import SpeechDetector
from prompter.hear.ear import Ear
from prompter.hear.endpoint import BLOCK_MS, Endpointer
from prompter.hear.hearing import Heard, Hearing
from prompter.hear.scorer import InlineScorer

Outcome = Literal["believed", "asked again", "not heard", "taken for another"]
_BAD_LAST: tuple[Outcome, ...] = ("believed", "asked again", "not heard", "taken for another")
Grade = Literal["good", "doubtful", "bad"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One recording at the step where it did worst.

    `heard`: the best wording or number, None if nothing was scored; `for_answer`: its answer.
    `score`: log-odds that it is right; `margin`: its evidence less that of the best of another
    answer, which is `nearest`.
    """

    outcome: Outcome
    step: str
    heard: str | None = None
    for_answer: str | None = None
    score: float | None = None
    margin: float | None = None
    nearest: str | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class WordingFound:
    """What the recordings of one wording show."""

    wording: str
    takes: tuple[Judged, ...]

    def count(self, outcome: Outcome) -> int:
        return sum(take.outcome == outcome for take in self.takes)

    @property
    def worst(self) -> Judged:
        return max(self.takes, key=_badness)

    @property
    def grade(self) -> Grade:
        """'bad': taken for another answer, or never believed. 'good': believed every time."""
        if self.count("taken for another") or not self.count("believed"):
            return "bad"
        return "good" if self.count("believed") == len(self.takes) else "doubtful"


@dataclass(frozen=True, slots=True)
class Advice:
    """What to say for an answer: None if no wording tried can be advised. `avoid`: what not to."""

    say: WordingFound | None
    avoid: tuple[str, ...]


class Judge:
    """Judges recordings. `ears` are loaded; `known`: every wording of the flow, and its prompts."""

    def __init__(self, ears: Sequence[Ear], known: Sequence[Phrase]) -> None:
        self._ears, self._known = ears, known
        self._detector = SpeechDetector()

    def judge(
        self, sound: np.ndarray, answer: str, steps: Sequence[tuple[str, Sequence[Phrase]]]
    ) -> Judged:
        """`sound` (float32, mono, 16 kHz) at each of `steps` (name, wordings allowed): the worst."""
        return max((self._at(sound, answer, *step) for step in steps), key=_badness)

    def _at(self, sound: np.ndarray, answer: str, step: str, allowed: Sequence[Phrase]) -> Judged:
        heard = self._heard(sound, allowed)
        if not heard:
            return Judged("not heard", step, why="no speech was found")
        outcomes = [_outcome(h, answer) for h in heard]
        outcome: Outcome = "asked again"
        if "taken for another" in outcomes:
            outcome = "taken for another"
        elif "believed" in outcomes:
            outcome = "believed"
        found = max(
            (h for h, its in zip(heard, outcomes, strict=True) if its == outcome),
            key=lambda h: -99.0 if h.score is None else h.score,
        )
        number = f"{found.number[0]} {found.number[1]}" if found.number else None
        return Judged(
            outcome,
            step,
            heard=found.heard.text if found.heard else number,
            for_answer=found.heard.answer if found.heard else number,
            score=found.score,
            margin=found.margin,
            nearest=found.runner_up,
            why=found.why,
        )

    def _heard(self, sound: np.ndarray, allowed: Sequence[Phrase]) -> list[Heard]:
        self._detector.reset()
        ends = Endpointer(self._detector)
        hearing = Hearing(self._ears, InlineScorer(), self._known, ends)
        hearing.expect(allowed)
        quiet, at_ms = np.zeros(limits.BLOCK_SAMPLES, np.float32), 0
        reports = []
        for block, at_ms in blocks_of(sound):
            reports += hearing.push(block, at_ms)
        while hearing.waiting:
            at_ms += BLOCK_MS
            reports += hearing.push(quiet, at_ms)
        return [r for r in reports if isinstance(r, Heard)]


def advise(found: Sequence[WordingFound], taught: str) -> Advice:
    """The taught wording if it is believed every time, otherwise the best of the others.

    People remember what they were taught, so a better score alone changes nothing.
    """
    good = [w for w in found if w.grade == "good"]
    fit = good or [w for w in found if w.grade == "doubtful"]
    say = next((w for w in good if w.wording == taught), max(fit, key=_strength, default=None))
    avoid = [w.wording for w in found if w.count("taken for another")]
    if say is not None:
        avoid += [w.wording for w in found if w.grade == "bad" and w.wording not in avoid]
    return Advice(say, tuple(avoid))


def _outcome(heard: Heard, answer: str) -> Outcome:
    if not heard.believed:
        return "asked again"
    right = heard.heard is not None and heard.heard.answer == answer
    return "believed" if right else "taken for another"


def _badness(judged: Judged) -> tuple[int, float]:
    return _BAD_LAST.index(judged.outcome), -(-99.0 if judged.score is None else judged.score)


def _strength(found: WordingFound) -> tuple[float, float]:
    score = found.worst.score
    return found.count("believed") / len(found.takes), -99.0 if score is None else score
