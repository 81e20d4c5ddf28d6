"""The machine of one emergency: an event and a time in, cues out. No clock, no thread, no file, no sound.

Rules at the top; only rows of the table lead on, and only a visit's end or "that was wrong" leads back:
- `feed(event)` first lets every deadline before the event pass, each at its own time, then takes
  the event. So the cues do not depend on how often somebody sends a `Ticked`, and an answer that
  comes with a deadline goes before it.
- `Resumed` alone lets no deadline pass: nobody was asked meanwhile, so nobody was silent.
- A refused event changes nothing and is reported as `Refused`.
- "That was wrong" restores step and memory as they were before the last answer or assumption.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from prompter.errors import Bug
from prompter.events import (
    Answered,
    Failed,
    How,
    Learned,
    Moved,
    Numbered,
    Phrase,
    PromptEnded,
    Record,
    Recovered,
    Resumed,
    SpeechEnded,
    SpeechStarted,
    Started,
    Ticked,
    Tone,
    Unclear,
)
from prompter.flow.conditions import holds
from prompter.flow.resuming import Resuming
from prompter.flow.table import BUILT_IN
from prompter.limits import CUT_CALL_AGAIN_MS, DEADLINES_AT_ONCE, NOTES_WAITED_FOR, TWICE_SCORE


@dataclass(frozen=True)
class View:
    """What a screen shows: the step, its last prompt, and the keys with their answers.

    `crew`: it has arrived, or has taken over; then `summary` holds what "tell them" says, each sentence with
    the session time since when it is so, where that is known.
    """

    step: str
    title: str
    prompt: str
    own_keys: tuple[tuple[str, str, str], ...]
    everywhere_keys: tuple[tuple[str, str, str], ...]
    call: str
    known: dict[str, str]
    spo2: int | None
    outcome: str
    spo2_at_ms: int = 0
    pulse: int | None = None
    crew: bool = False
    summary: tuple[tuple[str, int | None], ...] = ()


class FlowMachine(Resuming):
    """One emergency. `step` is the care step; `memory` what is known; `call` the call beside it."""

    # ------------------------------------------------------------------ in and out

    def fork(self) -> "FlowMachine":
        """An independent copy at this moment, for who tries out every event from here. Cheap: no table is copied."""
        twin = object.__new__(type(self))
        twin.__dict__ = self.__dict__.copy()
        twin.memory, twin._clock, twin._outstanding = self.memory.copy(), self._clock.copy(), self._outstanding.copy()
        twin.call = self.call.copy()
        twin._before_beat, twin._talk = set(self._before_beat), set(self._talk)
        twin._history = list(self._history)
        return twin

    def feed(self, event: Record) -> list[Record]:
        """Takes one event; returns the cues in order. Raises Bug on a time before the last one."""
        if event.at_ms < self.now_ms:
            raise Bug(f"time went back: {event.at_ms} ms after {self.now_ms} ms")
        handler = _HANDLERS.get(type(event))
        if handler is None:
            raise Bug(f"the flow machine takes no {event.kind!r}")
        self._cues = []
        if not isinstance(event, Resumed):
            self._pass_deadlines(event.at_ms, including=isinstance(event, Ticked))
        self._at(event.at_ms)
        if self.closed:
            self._refuse(event.kind, "the emergency is closed")
        else:
            handler(self, event)
        return self._cues

    def next_deadline_ms(self) -> int | None:
        """When the next thing happens by itself; None if only an event can move it."""
        due = self._due()
        return due[0] if due else None

    @property
    def asks_number(self) -> bool:
        """The open question (or the one that a visit interrupted) is for the saturation."""
        return "number fine" in self.table.stands[self._interrupted() or self.step].own_answers

    def phrases(self) -> tuple[Phrase, ...]:
        """All wordings that may be said now."""
        return self.table.phrases(self.step, self._interrupted())

    def view(self) -> View:
        """For screens: who looks at it may press a key instead of speaking."""
        stand, answers = self.table.stands[self.step], self.table.flow.answers
        interrupted = self._interrupted()
        asked = self.table.stands[interrupted].own_answers if interrupted else ()
        own = [a for a in dict.fromkeys([*stand.own_answers, *asked]) if a in answers]
        keys = tuple((str(i), a, answers[a].wordings[0]) for i, a in enumerate(own[:9], start=1))
        rest = [a for a in (*self.table.flow.everywhere, *BUILT_IN) if a not in own]
        more = tuple((answers[a].key or "", a, answers[a].wordings[0]) for a in rest)
        crew = "crew" in self.memory.marks or self.outcome == "handed over"
        return View(
            self.step, stand.title, self._last_prompt, keys, tuple(k for k in more if k[0]),
            self.call.step, dict(self.memory.known), self.memory.spo2, self.outcome,
            self.memory.spo2_at_ms, self.memory.pulse, crew, self._summary() if crew else (),
        )  # fmt: skip

    def _summary(self) -> tuple[tuple[str, int | None], ...]:
        """The sentences of "tell them" that hold now, and since when: as the last of their conditions came true."""
        memory = self.memory
        return tuple(
            (spoken.text, max((memory.since[name] for name in names if name in memory.since), default=None))
            for spoken, names in zip(self.table.summary, self.table.summary_names, strict=True)
            if spoken.guard is None or spoken.guard(memory)
        )

    # ------------------------------------------------------------------ deadlines

    def _due(self) -> tuple[int, str] | None:
        if not self._started or self.closed:
            return None
        best = self._clock.due()
        if (lost := self._outstanding.lost_at()) is not None and (best is None or lost < best[0]):
            best = (lost, "lost prompt")
        if (gap := self._gap_at()) is not None and (best is None or gap < best[0]):
            best = (gap, "gap")
        call_at = self.call.due_at
        if call_at is not None and (best is None or call_at < best[0]):
            best = (call_at, "call")
        return best

    def _pass_deadlines(self, until: int, including: bool) -> None:
        for _ in range(DEADLINES_AT_ONCE):
            due = self._due()
            if due is None or due[0] > until or (due[0] == until and not including):
                return
            self._at(max(due[0], self.now_ms))
            _DEADLINES[due[1]](self)
        raise Bug(f"deadlines do not come to rest at step {self.step!r}")

    def _gap_due(self) -> None:
        if not self._fire("gap", "timed", None):
            raise Bug(f"no breaths can be asked for at step {self.step!r}")

    def _lost_prompt(self) -> None:
        # The loudspeaker never said that it ended: go on as if it had.
        cue = self._outstanding.first()
        if cue is not None:
            self._prompt_over(cue)

    def _call_due(self) -> None:
        self.call.remind(self)

    def _pause_over(self) -> None:
        self._clock.resume(self.now_ms)

    def _ask_due(self) -> None:
        self._clock.ask_at = None
        self._ask()

    def _repeat_due(self) -> None:
        self._clock.repeat_at = None
        self._say_prompt_again()

    def _every_due(self) -> None:
        quiet = self._quiet()
        said = self._say_first(quiet.say) if quiet else None
        cue = said if said is not None else self._say_prompt_again()
        self._clock.every_at = None
        if self._sets:
            # Two more breaths (after what was just said), and then the question again.
            self._talk = set() if cue is None else {cue}
            self._talk = {self._pace_breaths(self._rules.test_breaths)}
            self._waiting, self._phase = None, "talk"
        elif cue is None:
            self._start_every()
        else:
            self._waiting = cue

    def _act_due(self) -> None:
        self._assume("")

    def _confirm_over(self) -> None:
        if self._once_more is not None and (by := self._outstanding.ends_by(self._once_more)) is not None and by > self.now_ms:
            # Still to be asked for, behind what a beat has to say: its time begins when it ends. No longer than
            # that time at once, so that it never has to be taken back from what was due meanwhile.
            self._wait_for_second_time(min(by, self.now_ms + self._confirm_within_ms))
            return
        self._not_confirmed()
        if self._phase == "asking" and self._asked:
            cue = self._say_prompt_again()
            if self._waiting is None and not self._clock.runs:
                self._await(cue)  # said during a visit and asked back upon the return: silence has not begun to count

    # ------------------------------------------------------------------ events

    def _started_event(self, event: Started) -> None:
        if self._started:
            self._refuse("started", "it has begun already")
            return
        self._started = True
        self.call.start(self)
        stand = self.table.stands[self.step]
        for effects in stand.enter:
            self._apply(effects)
        self.emit(Moved(self.now_ms, "care", "", self.step, "timed"))
        self._begin(stand)
        at_once_if = self.table.flow.call.at_once_if
        if at_once_if and holds(at_once_if, self.table.variant.facts, self.memory):
            self.call.ask_now(self, "at once, as the flow says", "timed")

    def _answered(self, event: Answered) -> None:
        self._somebody_heard()
        self._noting = False
        self._take_answer(event.answer, event.how)

    def _take_answer(self, answer: str, how: How) -> None:
        if answer in BUILT_IN:
            _BUILT_IN[answer](self)
            return
        body = self.table.flow.answers.get(answer)
        if body is None:
            self._refuse(answer, "no such answer in this flow")
            return
        self._before = self._as_it_is()
        if body.reason:
            self.memory.reason = answer
        if not self._fire(answer, how, answer) and not self._answer_interrupted(answer, how):
            # A refused event changes nothing.
            self.memory = self._before.memory
            self._refuse(answer, f"means nothing at {self.step}")
        self._before = None

    def _numbered(self, event: Numbered) -> None:
        self._somebody_heard()
        low, high = self._rules.numbers.get(event.quantity, (0, 0))
        if not low <= event.value <= high:
            self.say(self._rules.number_again, "question")
            self._refuse(f"{event.quantity} {event.value}", f"outside {low} to {high}")
            return
        self._before = self._as_it_is()
        self.emit(Learned(self.now_ms, event.quantity, str(event.value), event.how))
        self.say(self.table.line(self._rules.heard, read_back=str(event.value)), "echo")
        if event.quantity == "pulse":
            self.memory.pulse = event.value
            moved = False
        else:
            self.memory.spo2, self.memory.spo2_at_ms = event.value, self.now_ms
            trigger = "number low" if self.memory.low_number() else "number fine"
            moved = self._fire(trigger, event.how, None) or self._answer_interrupted(trigger, event.how)
        if not moved:
            self._remember(self._before)
        self._before = None

    def _unclear_event(self, event: Unclear) -> None:
        self._somebody_heard()
        if self._noting:
            self._noting = False
            return
        body = self.table.flow.answers.get(event.answer) if event.answer else None
        if body and event.answer and event.answer == self._asked_back and self._twice_is_once(event.answer, event.score):
            self._asked_back = None
            self._take_answer(event.answer, "spoken")
            return
        number = None if event.quantity is None else f"{event.quantity} {event.value}"
        if number is not None and event.value is not None and self._same_again(event):
            self._asked_back = None
            self._numbered(Numbered(self.now_ms, event.quantity or "", event.value, "spoken", event.score))
            return
        if self._phase != "asking":
            if not self._ask_back_interrupted(event, number):
                self._refuse("unclear", "no question is open")
            return
        if self.table.stands[self.step].notes and body is None and number is None:
            self._take_note()
            return
        self._unclear += 1
        if self._unclear >= self._rules.unclear_before_assuming:
            self._unclear = 0
            self.say(self._rules.use_key, "notice")
            quiet = self._quiet()
            # Who has not heard the question yet has not left it unanswered.
            if quiet and quiet.act_ms is not None and self._question is None:
                self._assume("after unclear")
        elif body or number is not None:
            self._wait_after(self._ask_back(event, number))
        else:
            self._wait_after(self._say_prompt_again())

    def _ask_back(self, event: Unclear, number: str | None) -> int:
        """'I heard: chest flat?' or '96? Once more.' The same again is then taken as yes. A number that may
        well be another is not suggested: 'Say the number again.'"""
        if number is not None:
            self._asked_back, self._read_back = number, event.near
            again = self.table.line(self._rules.ask_back, read_back=str(event.value)) if event.near else self._rules.number_again
            return self.say(again, "question")
        self._asked_back, self._asked_back_score = event.answer, event.score
        return self.say(self.table.asked_back(event.answer or ""), "question")

    def _ask_back_interrupted(self, event: Unclear, number: str | None) -> bool:
        """A doubtful answer to the question that a visit interrupted."""
        place = self._interrupted()
        if place is None:
            return False
        doubted = self.asks_number if number is not None else event.answer in self.table.stands[place].own_answers
        if doubted:
            self._ask_back(event, number)
        return doubted

    def _twice_is_once(self, answer: str, score: float | None) -> bool:
        """Whether an answer in doubt counts when it is heard again. Good news only where it is then
        the first of two: the second must be surely heard."""
        if score is not None and self._asked_back_score is not None and score + self._asked_back_score <= TWICE_SCORE:
            return False
        if self.table.flow.answers[answer].risk != "good":
            return True
        if self.memory.pending == answer:
            return False
        return any(r.confirm for r in self.table.rows if r.source == self.step and r.trigger == answer)

    def _same_again(self, event: Unclear) -> bool:
        """The number that was read back; or, twice under the floor, bad news whichever it was."""
        asked_back = (self._asked_back or "").rpartition(" ")
        if asked_back[0] != event.quantity or event.value is None:
            return False
        before, floor = int(asked_back[2]), self.memory.spo2_floor
        both_low = event.quantity == "spo2" and before < floor and event.value < floor
        return before == event.value and self._read_back and event.near or both_low

    def _speech_started(self, event: SpeechStarted) -> None:
        self._clock.pause(self.now_ms)

    def _speech_ended(self, event: SpeechEnded) -> None:
        self._clock.resume(self.now_ms)

    def _prompt_ended(self, event: PromptEnded) -> None:
        if event.cut and self._outstanding.role(event.cue) == "call" and self.call.step == "asked":
            # What was cut of the call is asked again soon.
            soon = self.now_ms + CUT_CALL_AGAIN_MS
            self.call.due_at = min(self.call.due_at or soon, soon)
        if not self._outstanding.knows(event.cue):
            return  # of a step left since, or taken for lost before
        self._prompt_over(event.cue)

    def _ticked(self, event: Ticked) -> None:
        """Deadlines have passed already; a tick carries nothing else."""

    def _fault(self, event: Failed | Recovered) -> None:
        """The flow goes on whatever breaks; the session announces and works around it."""

    # ------------------------------------------------------------------ answers of the machine's own

    def _say_again(self) -> None:
        self.emit(Tone(self.now_ms, self._cue_number(), "noted"))
        self._say_prompt_again()

    def _how_do_i(self) -> None:
        stand = self.table.stands[self.step]
        if stand.how:
            self.say(stand.how, "care")
        else:
            self._say_prompt_again()

    def _hold_on(self) -> None:
        if self._may_hold():
            self.say(self._rules.holding, "notice")
            self._clock.hold()
        else:
            self.emit(Tone(self.now_ms, self._cue_number(), "noted"))

    def _note(self) -> None:
        self._noting = True
        self.emit(Tone(self.now_ms, self._cue_number(), "noted"))

    def _take_note(self) -> None:
        """A note at a step that asks for one. Who goes on talking is waited for, a radio not for ever."""
        self.emit(Tone(self.now_ms, self._cue_number(), "noted"))
        quiet = self._quiet()
        self._unclear += 1
        if quiet is not None and quiet.act_ms is not None and self._unclear <= NOTES_WAITED_FOR:
            self._clock.repeat_at = None
            self._clock.keep_until(self.now_ms + quiet.act_ms // 2)

    # ------------------------------------------------------------------ small things

    def _somebody_heard(self) -> None:
        self._nobody_heard = False

_HANDLERS: dict[type, Callable[[FlowMachine, Any], None]] = {
    Started: FlowMachine._started_event,
    Resumed: FlowMachine._resumed,
    Answered: FlowMachine._answered,
    Numbered: FlowMachine._numbered,
    Unclear: FlowMachine._unclear_event,
    SpeechStarted: FlowMachine._speech_started,
    SpeechEnded: FlowMachine._speech_ended,
    PromptEnded: FlowMachine._prompt_ended,
    Ticked: FlowMachine._ticked,
    Failed: FlowMachine._fault,
    Recovered: FlowMachine._fault,
}

_DEADLINES: dict[str, Callable[[FlowMachine], None]] = {
    "ask_at": FlowMachine._ask_due,
    "act_at": FlowMachine._act_due,
    "repeat_at": FlowMachine._repeat_due,
    "every_at": FlowMachine._every_due,
    "confirm_until": FlowMachine._confirm_over,
    "paused_at": FlowMachine._pause_over,
    "lost prompt": FlowMachine._lost_prompt,
    "gap": FlowMachine._gap_due,
    "call": FlowMachine._call_due,
}

_BUILT_IN: dict[str, Callable[[FlowMachine], None]] = {
    "say again": FlowMachine._say_again,
    "how do I": FlowMachine._how_do_i,
    "wrong": FlowMachine._undo,
    "hold on": FlowMachine._hold_on,
    "note": FlowMachine._note,
}
