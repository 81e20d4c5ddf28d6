"""A simulated caregiver: hears the prompts, does what the script says, and answers aloud."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import soxr

from prompter.flow.document import Flow
from prompter.limits import MIX_RATE_HZ, SAMPLE_RATE_HZ
from prompter.practise.room import at_speech_level
from prompter.practise.script import Script, Turn, answer_of

TAUGHT_SHARE = 0.7
"""How often the taught wording is used; the others share the rest. Common practice, no source."""

OVER_MS = (200.0, 900.0)
"""How long into a question they begin who know it already. Common practice, no source."""

MUMBLES = ("mm hm the uh", "wuh nuh", "uh um ah")


@dataclass(slots=True)
class Utterance:
    """Something said aloud: `sound` float32 mono 16 kHz, begins at `begin_ms`.

    `answer`: what it stands for; None for talk that is no answer.
    """

    begin_ms: int
    sound: np.ndarray
    words: str
    answer: str | None
    step: str
    over: str | None = None

    @property
    def end_ms(self) -> int:
        return self.begin_ms + len(self.sound) * 1000 // SAMPLE_RATE_HZ


@dataclass(slots=True)
class Sees:
    """What a caregiver can know at this moment.

    `is_open`: the prompter has finished what it says at this step and waits; `in_beat`: it has
    said what to do and the beat still counts. `prompts`: how many prompts of this step have ended. `paced`: a beat runs. `call_asked`: seconds since the
    call was asked for, None before.
    """

    step: str
    visit: int
    is_open: bool
    in_beat: bool
    prompts: int
    asks: bool
    paced: bool
    speaking: bool
    call_asked_s: float | None
    asking_ms: int | None = None
    """How long the question of this step has been sounding, None if it does not."""


class Caregiver:
    """One person with one voice. `render(text)` gives float32 mono at MIX_RATE_HZ.

    Turns of a step are taken one after the other; a turn that was said is said again when the
    prompter asks again, until the step is left or `taken` tells that it was understood.
    """

    def __init__(
        self, script: Script, flow: Flow, render: Callable[[str], np.ndarray], random: np.random.Generator,
        over_share: float = 0.0,
    ) -> None:
        self._over_share = over_share
        self._over: bool | None = None
        self._script, self._flow, self._render, self._random = script, flow, render, random
        self._next: dict[str, int] = {}
        self._visit = -1
        self._prompts_answered = 0
        self._due_ms: int | None = None
        self._turn: Turn | None = None
        self._said_speaker = False
        self._corrects = False
        self._last_step = ""

    def taken(self) -> None:
        """What was said last has been understood."""
        self._advance()

    def misheard(self) -> None:
        """The read-back was not what was said: takes it back at the next chance."""
        self._corrects = True

    def done(self, step: str) -> bool:
        """All that the script has for this step has been said and understood."""
        return self._next.get(step, 0) >= len(self._script.does.get(step, ()))

    def act(self, sees: Sees, now_ms: int) -> Utterance | str | None:
        """What the caregiver does now: an utterance that begins, a key, or nothing."""
        if sees.visit != self._visit:
            self._visit, self._prompts_answered = sees.visit, 0
            self._due_ms, self._turn = None, None
        self._maybe_over(sees, now_ms)
        if self._wants_speaker(sees):
            self._said_speaker = True
            return self._utter("on speaker", "on speaker", sees, now_ms)
        ready = sees.is_open or (sees.in_beat and self._turn_of(sees.step).during_beat)
        if self._turn is None and ready and self._corrects:
            self._turn, self._corrects = Turn(say="wrong"), False
            self._due_ms = now_ms + self._delay_ms(self._turn, sees)
        if self._turn is None and ready and sees.prompts > self._prompts_answered:
            self._turn = self._turn_of(sees.step)
            self._prompts_answered = sees.prompts
            self._due_ms = now_ms + self._delay_ms(self._turn, sees)
        if self._turn is None or self._due_ms is None or now_ms < self._due_ms:
            return None
        turn, self._turn = self._turn, None
        return self._do(turn, sees, now_ms)

    def _maybe_over(self, sees: Sees, now_ms: int) -> None:
        """Who knows what is asked does not wait for its end: drawn once for each time it is asked."""
        if sees.asking_ms is None:
            self._over = None
        elif self._over is None and self._over_share > 0 and self._turn is None:
            self._over = bool(self._random.random() < self._over_share)
            turn = self._turn_of(sees.step)
            if self._over and (turn.say is not None or turn.number is not None) and not self._corrects:
                self._turn, self._prompts_answered = turn, sees.prompts
                self._due_ms = now_ms + int(self._random.uniform(*OVER_MS))

    def _wants_speaker(self, sees: Sees) -> bool:
        after = self._script.speaker_after_s
        return (
            after is not None and not self._said_speaker and sees.call_asked_s is not None
            and sees.call_asked_s >= after and self._turn is None and not sees.speaking
        )  # fmt: skip

    def _turn_of(self, step: str) -> Turn:
        turns = self._script.does.get(step)
        if turns:
            return turns[min(self._next.get(step, 0), len(turns) - 1)]
        otherwise = self._script.otherwise
        if otherwise.say is not None and otherwise.say not in self._flow.steps[step].answers:
            return Turn(silent=True)
        return otherwise

    def _delay_ms(self, turn: Turn, sees: Sees) -> int:
        if turn.after_s is not None:
            return int(turn.after_s * 1000)
        low, high = self._script.reaction_s if sees.asks else self._script.action_s
        return int(1000 * self._random.uniform(low, high))

    def _do(self, turn: Turn, sees: Sees, now_ms: int) -> Utterance | str | None:
        if turn.silent:
            self._advance_at(sees.step)
            return None
        if turn.key is not None:
            self._advance_at(sees.step)
            return turn.key
        if turn.mumble or turn.aside is not None:
            self._advance_at(sees.step)
            self._prompts_answered -= 1  # the real answer follows without being asked again
            words = turn.aside or MUMBLES[int(self._random.integers(len(MUMBLES)))]
            return self._spoken(words, None, sees, now_ms, quiet=turn.mumble)
        if turn.number is not None:
            self._last_step = sees.step
            words = self._draw([f"{turn.number} percent", f"oxygen {turn.number}"])
            return self._spoken(words, f"number {turn.number}", sees, now_ms)
        return self._utter(turn.say or "", answer_of(turn.say or "", self._flow), sees, now_ms)

    def _utter(self, say: str, answer: str | None, sees: Sees, now_ms: int) -> Utterance:
        words = say
        if say in self._flow.answers:
            words = self._draw(self._flow.answers[say].wordings)
        self._last_step = sees.step
        return self._spoken(words, answer, sees, now_ms)

    def _draw(self, wordings: list[str]) -> str:
        """Trained people mostly use the wording they were taught, which is the first."""
        if len(wordings) == 1 or self._random.random() < TAUGHT_SHARE:
            return wordings[0]
        return wordings[1 + int(self._random.integers(len(wordings) - 1))]

    def _spoken(self, words: str, answer: str | None, sees: Sees, now_ms: int, quiet: bool = False) -> Utterance:
        sound = soxr.resample(self._render(words), MIX_RATE_HZ, SAMPLE_RATE_HZ).astype(np.float32)
        sound = at_speech_level(sound) * (0.15 if quiet else 1.0)
        over = "prompt" if sees.speaking else "beat" if sees.paced else None
        return Utterance(now_ms, sound.astype(np.float32), words, answer, sees.step, over)

    def _advance(self) -> None:
        self._advance_at(self._last_step)

    def _advance_at(self, step: str) -> None:
        self._next[step] = self._next.get(step, 0) + 1
