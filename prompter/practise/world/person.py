"""A caregiver who listens, acts and answers: late, seldom or wrongly, as the parameters say."""

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from prompter.practise.world.airway import RISES
from prompter.practise.world.case import Case
from prompter.practise.world.eyes import Eyes
from prompter.practise.world.hands import Hands
from prompter.practise.world.parameters import Parameters
from prompter.practise.world.timeline import Timeline
from prompter.practise.world.understanding import Meaning

ACTIONS_WAITING_MOST = 3
"""More than three things told are not kept in mind. Assumed."""

LOOK_AGAIN_MS, LOOKS = 1_500, 5
"""A question whose answer is not to be seen yet is looked at again, so often."""

ALREADY = {"lid off": "nothing on", "insert": "tube in", "insert smaller": "tube in", "fetch tube": "tube ready"}
SQUEEZES_MISSED_MOST = 0.3
BREATHS_THAT_SWELL = 4
"""Breaths beside the windpipe until a swollen neck is seen. Assumed."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """Something to say: an answer of the flow (or 'number 88'), and what the truth would have been."""

    answer: str
    truth: str | None


class Person:
    """Reacts to what was heard. `say` hands an utterance to whoever listens; `note` traces."""

    def __init__(
        self, case: Case, hands: Hands, eyes: Eyes, p: Parameters, rng: Random, timeline: Timeline,
        say: Callable[[Spoken], None], note: Callable[[str, str], None],
    ) -> None:  # fmt: skip
        self.case, self.hands, self.eyes = case, hands, eyes
        self._p, self._rng, self._timeline, self._say, self._note = p, rng, timeline, say, note
        self._waiting: list[str] = []
        self._doing = ""
        self._last: Spoken | None = None
        self._remarks: dict[str, int] = {}

    # ---- told and asked

    def told(self, meaning: Meaning) -> None:
        """A prompt that was heard to its end."""
        if self._timeline.now < self.case.frozen_ms:
            return
        if self._rng.random() < min(0.9, self._p["person.misses_prompt"] * (1 + self.case.panic)):
            self._note("caregiver", "(does not take it in)")
            return
        if meaning.sort == "do":
            self._told_to(meaning.what)
        elif meaning.sort == "ask":
            self._timeline.after(self._reaction_ms(), self._answer, meaning.what, LOOKS)
        elif meaning.sort == "again" and self._last is not None:
            self._timeline.after(self._reaction_ms(), self._repeat, self._last)

    def misheard(self) -> None:
        """The read-back was not what was said."""
        if self._rng.random() < self._p["person.takes_back"] * (1 - self.case.panic / 2):
            self._timeline.after(self._reaction_ms(), self.speak, Spoken("wrong", "wrong"), True)

    def _reaction_ms(self) -> int:
        p = self._p
        return int(1000 * p["person.reaction_s"] * (1 + self.case.panic) * self._rng.lognormvariate(0, p["person.spread"]))

    def _answer(self, question: str, looks: int) -> None:
        self.hands.patient.advance(self._timeline.now)
        truth = self.eyes.truth(question)
        if truth is None:
            if looks > 0 and question in ("passed", "rising"):
                self._timeline.after(LOOK_AGAIN_MS, self._answer, question, looks - 1)
            return
        if self._rng.random() < self._p["person.answers"] * (1 - self.case.panic / 4):
            self.speak(Spoken(self.eyes.report(truth), truth))

    def _repeat(self, before: Spoken) -> None:
        if before.answer.startswith("number "):
            self._answer("number", 0)
        else:
            self.speak(before)

    def speak(self, spoken: Spoken, again: bool = False) -> None:
        if not self.case.silent:
            if not again:
                self._last = spoken
            self._say(spoken)

    # ---- hands

    def _told_to(self, action: str) -> None:
        if action == self._doing or action in self._waiting:
            return
        self._waiting.append(action)
        del self._waiting[:-ACTIONS_WAITING_MOST]
        if not self._doing:
            self._doing = "listening"
            self._timeline.after(self._reaction_ms(), self._next_action)

    def _next_action(self) -> None:
        self._doing = ""
        if not self._waiting:
            return
        action = self._waiting.pop(0)
        if self.hands.done_already(action):
            self._report(action, ALREADY.get(action, "done"))
            self._next_action()
            return
        self._doing = action
        self.hands.begin(action)
        self._timeline.after(self.hands.lasts_ms(action), self._acted, action)

    def _acted(self, action: str) -> None:
        found = self.hands.finish(action, self._timeline.now)
        self._note("hands", f"{action}{': ' + found if found not in (None, 'done') else ''}")
        self._report(action, found)
        self._next_action()

    def _report(self, action: str, found: str | None) -> None:
        if found is None or action in ("bag on", "squeeze", "mask mouth", "mask neck", "oxygen on", "tie", "hold tube", "roll"):
            return
        if action in ("suction", "suction again"):
            return  # asked about in a moment
        if self._rng.random() < self._p["person.says_done"] * (1 - self.case.panic / 2):
            self._timeline.after(300, self.speak, Spoken(self.eyes.report(found), found))

    def breath_tone(self) -> None:
        """A squeeze, if the hands are free and keep up."""
        now = self._timeline.now
        if self._doing not in ("", "listening") and not self.case.helper:
            return
        if not self.hands.connected or now < self.case.frozen_ms:
            return
        tired = max(0.0, now / 60_000 - self._p["person.tires_after_min"]) * 0.03
        if self._rng.random() >= min(SQUEEZES_MISSED_MOST, tired):
            self.hands.squeeze(now)

    # ---- unasked

    def look(self) -> None:
        """From time to time: what cannot be overlooked is said unasked, twice at most."""
        now, hands = self._timeline.now, self.hands
        self._timeline.after(1000 * self._p["person.looks_every_s"] * self._rng.uniform(0.7, 1.3), self.look)
        if now < self.case.frozen_ms or self._doing not in ("", "listening"):
            return
        patient, air = hands.patient, hands.air
        patient.advance(now)
        if air.guide_in and self._rng.random() < 0.5:
            self._waiting.append("guide out")
            self._next_action()
        if air.tube == "out" and air.new_tube and hands.pulled_ms is not None and not self._waiting:
            self._remark("came out")
        elif air.breaths_beside >= BREATHS_THAT_SWELL and air.tube == "wrong":
            self._remark("neck swelling")
        elif not patient.moves_chest():
            self._remark("not breathing")
        elif hands.last_flow is not None and hands.last_flow < RISES and hands.connected == "tube":
            self._remark("flat")
        elif patient.spo2 >= 92 and patient.breathes() >= RISES and hands.first_breath_ms is not None:
            self._remark("better", most=9)

    def _remark(self, answer: str, most: int = 2) -> None:
        if self._remarks.get(answer, 0) < most and self._rng.random() < 0.5:
            self._remarks[answer] = self._remarks.get(answer, 0) + 1
            self.speak(Spoken(answer, answer))
