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
from prompter.hear import thresholds
from prompter.hear.decision import Verdict
from prompter.hear.decoys import DECOYS
from prompter.hear.ear import Ear
from prompter.hear.endpoint import Endpointer
from prompter.hear.negation import denials
from prompter.hear.panel import Panel
from prompter.hear.scorer import Result, Scorer
from prompter.hear.shortlist import plain_words


@dataclass(frozen=True, slots=True)
class SpeechOnset:
    """Somebody surely speaks."""

    at_ms: int


@dataclass(frozen=True, slots=True)
class SpeechSuspected:
    """Somebody may have begun to speak: too early to be certain, early enough to fall silent."""

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
    move anything. `why`: why it is not believed.
    `number`: ('spo2' | 'pulse', value) if a reading was said (`heard` is None then, and `believed`
    is the reading's); `lead`: as in `Verdict`. `text`: heard without being told what to expect. `decide_ms`: computing.
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
    lead: float | None = None


Report = SpeechOnset | SpeechSuspected | SpeechOver | Heard


@dataclass(slots=True, eq=False)
class _Attempt:
    """One piece of sound given to the scorer. `over_ms` is set once its utterance has ended."""

    ticket: int
    sound: np.ndarray
    result: Result | None = None
    over_ms: int | None = None
    onset_ms: int = 0
    ended_ms: int = 0


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
        self._ears = tuple(ears)
        self._answers = [p.text for p in known if p.answer]
        self._rivals = rivals_of(known)
        self._phrases: tuple[Phrase, ...] = ()
        self._asks_number = False
        self._stricter = 0.0
        self._scored_among: tuple[Phrase, ...] = ()
        self._tickets = 0
        self._candidate: _Attempt | None = None  # what the open utterance would be if it ended now
        self._undecided: list[_Attempt] = []  # utterances that ended before their result came

    def prepare(self) -> None:
        """Do ahead (1 to 2 s, once an ear) what else the first utterances would wait for."""
        denied = (form for text in self._answers for form in denials(text))
        wordings = dict.fromkeys([*self._rivals, *denied])
        for ear in self._ears:
            ear.prepare([Phrase(text, "") for text in wordings])

    def expect(self, phrases: Sequence[Phrase], asks_number: bool = False, on_speaker: bool = False) -> None:
        """What is allowed from now on; `asks_number`: a saturation was asked for; `on_speaker`: a
        telephone talks as well, and more is needed to be believed.

        A candidate scored against others is scored again.
        """
        phrases = tuple(phrases)
        self._stricter = thresholds.ON_SPEAKER_EXTRA if on_speaker else 0.0
        if phrases == self._phrases and asks_number == self._asks_number:
            return
        self._phrases, self._asks_number = phrases, asks_number
        self._scored_among = competing(phrases, self._rivals)
        self._forget_candidate()

    def push(self, block: np.ndarray, at_ms: int, own_db: float = limits.QUIET_DB) -> list[Report]:
        """Take float32[512] (mono, 16 kHz) that ended at `at_ms`; say what is known by then.

        `own_db`: up to this level it may be the prompter's own voice.
        """
        reports: list[Report] = []
        if self._ends.push(block, at_ms, own_db):
            reports.append(SpeechOnset(at_ms))
        elif self._ends.suspects:
            reports.append(SpeechSuspected(at_ms))
        if self._ends.open:
            self._consider(at_ms)
        self._collect(at_ms)
        if self._ends.open and self._is_over():
            reports += self._over(at_ms)
        return reports + self._decided()

    @property
    def waiting(self) -> bool:
        """Whether an utterance is not over, or its decision still out."""
        return self._ends.open or bool(self._undecided)

    def trouble(self) -> list[str]:
        """What went wrong since the last call: an ear that failed or hangs."""
        return self._panel.trouble() + self._scorer.trouble()

    def spared(self) -> list[tuple[str, str]]:
        """What was lost since the last call while the rest hears on: (its name, why)."""
        return self._panel.spared()

    def regained(self) -> list[str]:
        """What of that hears again since the last call."""
        return self._panel.regained()

    # ---- the candidate ------------------------------------------------------------------------

    def _consider(self, at_ms: int) -> None:
        """Score what was said so far once it has been quiet; drop it when the speaker goes on."""
        ends = self._ends
        if ends.silent_ms == 0:
            self._forget_candidate()
        elif (
            self._candidate is None
            and ends.silent_ms >= limits.CANDIDATE_MS
            and ends.spoken_blocks >= limits.SPOKEN_BLOCKS_MIN
        ):
            self._tickets += 1
            self._candidate = _Attempt(self._tickets, ends.sound())
            ticket, sound, phrases = self._tickets, self._candidate.sound, self._scored_among
            asks, stricter = self._asks_number, self._stricter
            wanted = lambda: self._scorer.wanted(ticket)  # noqa: E731
            work = lambda: self._panel.judge(sound, phrases, asks, stricter, wanted)  # noqa: E731
            self._scorer.submit(ticket, work, at_ms)

    def _forget_candidate(self) -> None:
        if self._candidate is not None:
            self._scorer.drop(self._candidate.ticket)
            self._candidate = None

    def _collect(self, at_ms: int) -> None:
        """Put results where they belong; give up an ear that hangs, and what waited for it."""
        results = self._scorer.results(at_ms)
        if (ticket := self._scorer.hung()) is not None:
            self._panel.lose(self._panel.asking, "no answer in time")
            late = Verdict(why="the ear did not answer in time")
            results.append(Result(ticket, late, at_ms, 0))
        attempts = [*self._undecided, *([self._candidate] if self._candidate else [])]
        for result in results:
            for attempt in attempts:
                if attempt.ticket == result.ticket:
                    attempt.result = result

    # ---- the end ------------------------------------------------------------------------------

    def _is_over(self) -> bool:
        """Soon when the answer is surely heard already; later when the speaker may only pause."""
        ends = self._ends
        if ends.length_ms >= limits.UTTERANCE_MAX_MS or ends.silent_ms >= limits.END_DOUBTED_MS:
            return True
        result = self._candidate.result if self._candidate else None
        if result is None or result.value is None or not result.value.believed:
            return False
        sure = result.value.score is not None and result.value.score >= limits.END_SURE
        needed_ms = limits.END_SURE_MS if sure else limits.END_BELIEVED_MS
        return ends.silent_ms >= needed_ms and not self._may_go_on(result.value)

    def _may_go_on(self, verdict: Verdict) -> bool:
        """Whether a wording of another answer begins with what is believed."""
        if verdict.heard is None:  # a number: another digit may follow
            return True
        begun = plain_words(verdict.heard.text) + " "
        return any(
            p.answer != verdict.heard.answer and plain_words(p.text).startswith(begun)
            for p in self._scored_among
        )

    def _over(self, at_ms: int) -> list[Report]:
        ends, attempt = self._ends, self._candidate
        reports: list[Report] = [SpeechOver(at_ms, ends.last_sound_ms)]
        if ends.length_ms >= limits.UTTERANCE_MAX_MS:
            self._forget_candidate()
            attempt = _Attempt(0, ends.sound())
            attempt.result = Result(0, Verdict(why="too long"), at_ms, 0)
        if attempt is not None:
            attempt.over_ms = at_ms
            attempt.onset_ms, attempt.ended_ms = ends.onset_ms, ends.last_sound_ms
            self._undecided.append(attempt)
        self._candidate = None
        ends.close()
        return reports

    def _decided(self) -> list[Report]:
        """What has both ended and been scored, in the order it was said."""
        reports: list[Report] = []
        while self._undecided and self._undecided[0].result is not None:
            reports.append(_heard(self._undecided.pop(0)))
        return reports


def rivals_of(known: Sequence[Phrase]) -> tuple[str, ...]:
    """What always competes: every wording of the flow (`known`), and the decoys."""
    return tuple(dict.fromkeys([*(p.text for p in known), *DECOYS]))


def competing(allowed: Sequence[Phrase], rivals: Sequence[str]) -> tuple[Phrase, ...]:
    """What an utterance is scored among: the `allowed` phrases; then, without an answer, each of
    them with a 'not' more or fewer, and the `rivals` (see `rivals_of`)."""
    taken = {plain_words(p.text) for p in allowed}
    texts = dict.fromkeys([*rivals, *(form for p in allowed for form in denials(p.text))])
    return (*allowed, *(Phrase(text, "") for text in texts if plain_words(text) not in taken))


def _heard(attempt: _Attempt) -> Heard:
    result = attempt.result
    verdict: Verdict = result.value or Verdict(why="nothing scored")
    return Heard(
        at_ms=max(attempt.over_ms, result.due_ms),
        onset_ms=attempt.onset_ms,
        ended_ms=attempt.ended_ms,
        heard=verdict.heard,
        believed=verdict.believed,
        score=verdict.score,
        margin=verdict.margin,
        runner_up=verdict.runner_up,
        number=verdict.number,
        decide_ms=result.compute_ms,
        ears=verdict.ears,
        window=verdict.window,
        text=verdict.text,
        why=verdict.why,
        sound=attempt.sound,
        lead=verdict.lead,
    )
