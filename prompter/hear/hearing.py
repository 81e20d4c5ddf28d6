"""Sound blocks in, decided utterances out: the one door to this room.

While the end of an utterance is still being waited for, what was said so far is scored already;
if the speaker goes on, that is thrown away. So a clear answer is known soon after its last sound,
and a pause inside a phrase cuts nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from prompter import limits
from prompter.events import Phrase
from prompter.hear.decision import Verdict
from prompter.hear.decoys import DECOYS
from prompter.hear.ear import Ear
from prompter.hear.endpoint import Endpointer
from prompter.hear.panel import Panel
from prompter.hear.scorer import Result, Scorer
from prompter.hear.shortlist import plain_words


@dataclass(frozen=True, slots=True)
class SpeechOnset:
    """Somebody surely speaks."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class SpeechOver:
    """The talk that began with the last onset has ended; its last sound was at `ended_ms`."""

    at_ms: int
    ended_ms: int


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """A decided utterance.

    `at_ms`: when the decision is known; `onset_ms`, `ended_ms`: first and last sound.
    `heard`: the best phrase, None if nothing was scored or a number was said; only `believed` may
    move anything. `why`: why it is not believed ("no words": noise or nothing like speech).
    `number`: ('spo2' | 'pulse', value) if a reading was said (`heard` is None then, and `believed`
    is the reading's). `text`: heard without being told what to expect. `decide_ms`: computing.
    `sound`: float32, mono, 16 kHz.
    """

    at_ms: int
    onset_ms: int
    ended_ms: int
    heard: Phrase | None
    believed: bool
    score: float | None
    margin: float | None
    runner_up: str | None
    number: tuple[str, int] | None
    decide_ms: int
    ears: tuple[str, ...]
    window: int
    text: str
    why: str
    sound: np.ndarray


Report = SpeechOnset | SpeechOver | Heard


class Hearing:
    """Listens to one microphone. Not thread-safe: one caller pushes blocks and sets phrases.

    `known`: every wording of the flow. Those that are not allowed now still compete, so that an
    answer to another question is asked again and not taken for one to this.
    """

    def __init__(
        self,
        ears: Sequence[Ear],
        scorer: Scorer,
        known: Sequence[Phrase] = (),
        endpointer: Endpointer | None = None,
    ) -> None:
        self._panel = Panel(ears)
        self._scorer = scorer
        self._ends = endpointer or Endpointer()
        self._rivals = tuple(dict.fromkeys([*(p.text for p in known), *DECOYS]))
        self._phrases: tuple[Phrase, ...] = ()
        self._scored_among: tuple[Phrase, ...] = ()
        self._ticket = 0
        self._scored: int | None = None  # the ticket of the candidate that stands
        self._result: Result | None = None
        self._candidate = np.zeros(0, np.float32)
        self._over_ms: int | None = None  # set once the end was declared, the result still out
        self._onset_ms = self._ended_ms = 0

    def expect(self, phrases: Sequence[Phrase]) -> None:
        """What is allowed from now on. A candidate scored against others is scored again."""
        phrases = tuple(phrases)
        if phrases != self._phrases:
            self._phrases = phrases
            allowed = {plain_words(p.text) for p in phrases}
            decoys = [Phrase(r, "") for r in self._rivals if plain_words(r) not in allowed]
            self._scored_among = (*phrases, *decoys)
            if self._ends.open:
                self._forget_candidate()

    def push(self, block: np.ndarray, at_ms: int) -> list[Report]:
        """Take float32[512] (mono, 16 kHz) that ended at `at_ms`; say what is known by then."""
        reports: list[Report] = []
        if self._ends.push(block, at_ms):
            self._abandon(at_ms, reports)
            reports.append(SpeechOnset(at_ms))
        if self._ends.open:
            self._consider(at_ms)
        for result in self._scorer.results(at_ms):
            if result.ticket == self._scored:
                self._result = result
        self._watch(at_ms)
        if self._ends.open and self._is_over():
            self._over(at_ms, reports)
        self._finish(at_ms, reports)
        return reports

    @property
    def deciding(self) -> bool:
        """The end of an utterance was declared, and its decision is still to come."""
        return self._over_ms is not None

    @property
    def waiting(self) -> bool:
        """Whether an utterance is not over, or its decision still out."""
        return self._ends.open or self._over_ms is not None

    def trouble(self) -> list[str]:
        """What went wrong since the last call: an ear that failed or hangs."""
        return self._panel.trouble() + self._scorer.trouble()

    def _watch(self, at_ms: int) -> None:
        """Give up an ear that hangs, and the decision that waited for it."""
        ticket = self._scorer.hung()
        if ticket is None:
            return
        self._panel.lose(self._panel.asking, "no answer in time")
        if ticket == self._scored:
            self._result = Result(ticket, Verdict(why="the ear did not answer in time"), at_ms, 0)

    # ---- one utterance ------------------------------------------------------------------------

    def _consider(self, at_ms: int) -> None:
        """Score what was said so far once it has been quiet; drop it when the speaker goes on."""
        ends = self._ends
        if ends.silent_ms == 0:
            self._forget_candidate()
        elif (
            self._scored is None
            and ends.silent_ms >= limits.CANDIDATE_MS
            and ends.spoken_blocks >= limits.SPOKEN_BLOCKS_MIN
        ):
            self._submit(ends.sound(), at_ms)

    def _submit(self, sound: np.ndarray, at_ms: int) -> None:
        self._ticket += 1
        self._scored, self._candidate = self._ticket, sound
        phrases = self._scored_among
        self._scorer.submit(self._ticket, lambda: self._panel.judge(sound, phrases), at_ms)

    def _forget_candidate(self) -> None:
        if self._scored is not None:
            self._scorer.drop(self._scored)
        self._scored = self._result = None

    def _is_over(self) -> bool:
        ends = self._ends
        if ends.length_ms >= limits.UTTERANCE_MAX_MS or ends.silent_ms >= limits.END_DOUBTED_MS:
            return True
        if self._result is None or ends.silent_ms < limits.END_BELIEVED_MS:
            return False
        verdict: Verdict | None = self._result.value
        return verdict is not None and verdict.believed and not self._may_go_on(verdict)

    def _may_go_on(self, verdict: Verdict) -> bool:
        """Whether another allowed phrase begins with the believed one."""
        begun = plain_words(verdict.heard.text if verdict.heard else verdict.text) + " "
        answer = verdict.heard.answer if verdict.heard else None
        return any(
            p.answer != answer and plain_words(p.text).startswith(begun) for p in self._phrases
        )

    def _over(self, at_ms: int, reports: list[Report]) -> None:
        ends = self._ends
        too_long = ends.length_ms >= limits.UTTERANCE_MAX_MS
        self._onset_ms, self._ended_ms = ends.onset_ms, ends.last_sound_ms
        reports.append(SpeechOver(at_ms, ends.last_sound_ms))
        if too_long:
            self._forget_candidate()
            reports.append(self._heard(at_ms, Verdict(why="too long"), 0, ends.sound()))
        elif self._scored is not None:
            self._over_ms = at_ms
        ends.close()

    def _finish(self, at_ms: int, reports: list[Report]) -> None:
        """Give the decision once both the end of speech and the result are there."""
        if self._over_ms is None or self._result is None:
            return
        result, over_ms = self._result, self._over_ms
        verdict = result.value or Verdict(why="nothing scored")
        known_ms = max(over_ms, result.due_ms)
        reports.append(self._heard(known_ms, verdict, result.compute_ms, self._candidate))
        self._over_ms = self._scored = self._result = None

    def _abandon(self, at_ms: int, reports: list[Report]) -> None:
        """A new utterance begins while the last one's result is still out: it comes too late."""
        if self._over_ms is not None:
            reports.append(self._heard(at_ms, Verdict(why="too late"), 0, self._candidate))
            self._over_ms = None
        self._forget_candidate()

    def _heard(self, at_ms: int, v: Verdict, decide_ms: int, sound: np.ndarray) -> Heard:
        return Heard(
            at_ms=at_ms,
            onset_ms=self._onset_ms,
            ended_ms=self._ended_ms,
            heard=v.heard,
            believed=v.believed,
            score=v.score,
            margin=v.margin,
            runner_up=v.runner_up,
            number=v.number,
            decide_ms=decide_ms,
            ears=v.ears,
            window=v.window,
            text=v.text,
            why=v.why,
            sound=sound,
        )
