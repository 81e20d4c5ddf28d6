"""The machine of one emergency: an event and a time in, cues out. No clock, no thread, no file, no sound.

Rules at the top; only rows of the table move it:
- `feed(event)` first lets every deadline before the event pass, each at its own time, then takes
  the event. So the cues do not depend on how often somebody sends a `Ticked`, and an answer that
  comes with a deadline goes before it.
- A refused event changes nothing and is reported as `Refused`.
- "That was wrong" restores step and memory as they were before the last answer or assumption.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from transitions import Machine

from prompter.errors import Bug
from prompter.events import (
    Answered,
    Closed,
    Failed,
    How,
    Learned,
    Moved,
    Numbered,
    Pace,
    PaceStopped,
    Phrase,
    PromptEnded,
    Record,
    Recovered,
    Refused,
    Say,
    SpeechEnded,
    SpeechStarted,
    Started,
    Ticked,
    Tone,
    Unclear,
)
from prompter.flow.call import Call
from prompter.flow.conditions import guard_of, left_open
from prompter.flow.document import Effects
from prompter.flow.engine import engine_of
from prompter.flow.memory import Memory
from prompter.flow.outstanding import Outstanding, speech_ms
from prompter.flow.silence import SilenceClock
from prompter.flow.table import BUILT_IN, STAY, Quiet, Row, Spoken, Stand, Table, back_to
from prompter.limits import CUT_CALL_AGAIN_MS, DEADLINES_AT_ONCE


@dataclass(frozen=True, slots=True)
class _Before:
    """How things stood before an answer or assumption, for "that was wrong"."""

    step: str
    memory: Memory
    call: str


@dataclass(frozen=True)
class View:
    """What a screen shows: the step, its last prompt, and the keys with their answers."""

    step: str
    title: str
    prompt: str
    own_keys: tuple[tuple[str, str, str], ...]
    everywhere_keys: tuple[tuple[str, str, str], ...]
    call: str
    known: dict[str, str]
    spo2: int | None
    outcome: str


class FlowMachine:
    """One emergency. `step` is the care step; `memory` what is known; `call` the call beside it."""

    def __init__(self, table: Table, engine: Machine | None = None) -> None:
        self.table = table
        self._engine = engine or engine_of(table)
        rules, numbers = table.flow.rules, table.variant.numbers
        self._rules, self._numbers = rules, numbers
        self.memory = Memory(
            marks=set(table.start_marks),
            spo2_floor=numbers["spo2_floor"],
            number_fresh_ms=int(rules.number_fresh_s * 1000),
        )
        self.step = next(iter(table.stands))
        self.call = Call(table, self._say, self._emit)
        self.closed = False
        self._started = False
        self._now = 0
        self._cues: list[Record] = []
        self._next_cue = 1
        self._outstanding = Outstanding()
        self._clock = SilenceClock(int(rules.pause_while_speaking_s * 1000), int(rules.hold_s * 1000))
        self._talk: set[int] = set()
        self._phase = "talk"
        self._waiting: int | None = None
        self._ask_index = 0
        self._asked = False
        self._beat = ""
        self._beat_step = ""
        self._pace_cue: int | None = None
        self._pace_began: int | None = None
        self._pace_lasts_ms = 0
        self._before_beat: set[int] = set()
        self._breaths_first = False
        self._sets = False
        self._last_breath: int | None = None
        self._nobody_heard = False
        self._unclear = 0
        self._asked_back: str | None = None
        self._noting = False
        self._last_prompt = ""
        self._history: list[_Before] = []
        self._before: _Before | None = None
        self._how: How = "timed"
        self._answer: str | None = None
        self._taken = False
        self._gaps = [
            (guard_of(atoms), line.since, int(line.after_s * 1000))
            for line in rules.breath_gap
            if (atoms := left_open(line.when, table.variant.facts)) is not None
        ]

    # ------------------------------------------------------------------ in and out

    def feed(self, event: Record) -> list[Record]:
        """Takes one event; returns the cues in order. Raises Bug on a time before the last one."""
        if event.at_ms < self._now:
            raise Bug(f"time went back: {event.at_ms} ms after {self._now} ms")
        handler = _HANDLERS.get(type(event))
        if handler is None:
            raise Bug(f"the flow machine takes no {event.kind!r}")
        self._cues = []
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

    def phrases(self) -> tuple[Phrase, ...]:
        """All wordings that may be said now."""
        return self.table.phrases(self.step)

    @property
    def waits(self) -> bool:
        """All is said at this step, and an answer is awaited."""
        return self._phase == "asking" and self._waiting is None and (self._asked or self._clock.ask_at is None)

    @property
    def paced(self) -> bool:
        """A beat of breaths or pushes runs now."""
        return self._beat in ("breaths", "pushes")

    @property
    def outcome(self) -> str:
        return self.memory.known["outcome"]

    def view(self) -> View:
        """For screens: who looks at it may press a key instead of speaking."""
        stand, answers = self.table.stands[self.step], self.table.flow.answers
        own = [a for a in stand.own_answers if a in answers]
        keys = tuple((str(i), a, answers[a].wordings[0]) for i, a in enumerate(own[:9], start=1))
        rest = [a for a in (*self.table.flow.everywhere, *BUILT_IN) if a not in own]
        more = tuple((answers[a].key or "", a, answers[a].wordings[0]) for a in rest)
        return View(
            self.step, stand.title, self._last_prompt, keys, tuple(k for k in more if k[0]),
            self.call.step, dict(self.memory.known), self.memory.spo2, self.outcome,
        )  # fmt: skip

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
            self._at(max(due[0], self._now))
            _DEADLINES[due[1]](self)
        raise Bug(f"deadlines do not come to rest at step {self.step!r}")

    def _at(self, now: int) -> None:
        self._now = self.memory.now_ms = now

    def _gap_at(self) -> int | None:
        """When breaths have been missing for as long as the rules allow."""
        if self.paced or self._pace_cue is not None or self.memory.known["breathing"] == "better":
            return None
        if "gap" not in self._engine.events or self.step not in self._engine.events["gap"].transitions:
            return None
        if self._breaths_first:
            return self._now
        breath = self._last_breath
        for guard, since, after_ms in self._gaps:
            began = self.memory.since.get(since) if since else breath
            if began is None or (breath is not None and breath > began):
                continue  # this line does not apply (any more)
            if guard is None or guard(self.memory):
                return began + after_ms
        return None

    def _gap_due(self) -> None:
        if not self._fire("gap", "timed", None):
            raise Bug(f"no breaths can be asked for at step {self.step!r}")

    def _lost_prompt(self) -> None:
        # The loudspeaker never said that it ended: go on as if it had.
        cue = self._outstanding.first()
        if cue is not None:
            self._prompt_over(cue)

    def _call_due(self) -> None:
        self.call.remind(self._now, self.paced, self._choose)

    def _pause_over(self) -> None:
        self._clock.resume(self._now)

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
        self._not_confirmed()
        if self._phase == "asking":
            self._say_prompt_again()

    def _not_confirmed(self) -> None:
        self.memory.pending = self._clock.confirm_until = None

    # ------------------------------------------------------------------ events

    def _started_event(self, event: Started) -> None:
        if self._started:
            self._refuse("started", "it has begun already")
            return
        self._started = True
        self.call.start(self._now)
        stand = self.table.stands[self.step]
        for effects in stand.enter:
            self._apply(effects)
        self._emit(Moved(self._now, "care", "", self.step, "timed"))
        self._begin(stand)
        at_once_if = self.table.flow.call.at_once_if
        if at_once_if and left_open(at_once_if, self.table.variant.facts) is not None:
            self.call.ask_now(self._now, "at once, as the flow says", "timed", self.paced, self._choose)

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
        if not self._fire(answer, how, answer):
            # A refused event changes nothing.
            self.memory = self._before.memory
            self._refuse(answer, f"means nothing at {self.step}")
        self._before = None

    def _numbered(self, event: Numbered) -> None:
        self._somebody_heard()
        low, high = self._rules.numbers.get(event.quantity, (0, 0))
        if not low <= event.value <= high:
            self._say(self._rules.number_again, "question")
            self._refuse(f"{event.quantity} {event.value}", f"outside {low} to {high}")
            return
        self._before = self._as_it_is()
        self._emit(Learned(self._now, event.quantity, str(event.value), event.how))
        self._say(self.table.line(self._rules.heard, read_back=str(event.value)), "echo")
        if event.quantity == "pulse":
            self.memory.pulse = event.value
            moved = False
        else:
            self.memory.spo2, self.memory.spo2_at_ms = event.value, self._now
            moved = self._fire("number low" if self.memory.low_number() else "number fine", event.how, None)
        if not moved:
            self._remember(self._before)
        self._before = None

    def _unclear_event(self, event: Unclear) -> None:
        self._somebody_heard()
        if self._noting:
            self._noting = False
            return
        body = self.table.flow.answers.get(event.answer) if event.answer else None
        good = body is not None and body.risk == "good"
        if body and event.answer and event.answer == self._asked_back and not good:
            self._asked_back = None
            self._take_answer(event.answer, "spoken")
            return
        number = None if event.quantity is None else f"{event.quantity} {event.value}"
        if number is not None and number == self._asked_back and event.value is not None:
            self._asked_back = None
            self._numbered(Numbered(self._now, event.quantity or "", event.value, "spoken", event.score))
            return
        if self._phase != "asking":
            self._refuse("unclear", "no question is open")
            return
        self._unclear += 1
        if self._unclear >= self._rules.unclear_before_assuming:
            self._unclear = 0
            self._say(self._rules.use_key, "notice")
            quiet = self._quiet()
            if quiet and quiet.act_ms is not None:
                self._assume("after unclear")
        elif body:
            self._asked_back = event.answer
            self._say(self.table.asked_back(event.answer), "question")
        elif number is not None:
            self._asked_back = number
            self._say(self.table.line(self._rules.ask_back, read_back=str(event.value)), "question")
        else:
            self._say_prompt_again()

    def _speech_started(self, event: SpeechStarted) -> None:
        self._clock.pause(self._now)

    def _speech_ended(self, event: SpeechEnded) -> None:
        self._clock.resume(self._now)

    def _prompt_ended(self, event: PromptEnded) -> None:
        if event.cut and self._outstanding.role(event.cue) == "call" and self.call.step == "asked":
            # What was cut of the call is asked again soon.
            soon = self._now + CUT_CALL_AGAIN_MS
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
        self._emit(Tone(self._now, self._cue_number(), "noted"))
        self._say_prompt_again()

    def _how_do_i(self) -> None:
        stand = self.table.stands[self.step]
        if stand.how:
            self._say(stand.how, "care")
        else:
            self._say_prompt_again()

    def _undo(self) -> None:
        if not self._history:
            self._refuse("wrong", "there is nothing to take back")
            return
        before = self._history.pop()
        source, self.step, self.memory = self.step, before.step, before.memory
        self._at(self._now)
        self._not_confirmed()
        self._emit(Moved(self._now, "care", source, before.step, "spoken", "wrong"))
        self.call.take_back(before.call, self._now)
        self._say(self._rules.going_back, "notice")
        self._begin(self.table.stands[before.step])

    def _hold_on(self) -> None:
        if self._may_hold():
            self._say(self._rules.holding, "notice")
            self._clock.hold()
        else:
            self._emit(Tone(self._now, self._cue_number(), "noted"))

    def _may_hold(self) -> bool:
        quiet = self._quiet()
        return quiet is None or quiet.may_hold

    def _note(self) -> None:
        self._noting = True
        self._emit(Tone(self._now, self._cue_number(), "noted"))

    # ------------------------------------------------------------------ moving

    def _fire(self, trigger: str, how: How, answer: str | None) -> bool:
        event = self._engine.events.get(trigger)
        if event is None:
            return False
        self._how, self._answer, self._taken = how, answer, False
        event.trigger(self, self)
        return self._taken

    def _assume(self, note: str) -> None:
        """Silence (or talk not believed) for too long: the silent branch, if it may be taken."""
        self._before = self._as_it_is()
        if self._fire("silent", "assumed", None):
            if self._rules.assumed_halves_times:
                self._nobody_heard = True
            if note:
                self._emit(Learned(self._now, "assumed", note, "assumed"))
        else:
            self._refuse("silence", "silence alone does not lead on from here")
            self._clock.clear()
            self._say_prompt_again()
            self._silence_from(self._now)
        self._before = None

    def take(self, row: Row) -> None:
        """Called by the engine when a row's guards hold; for nobody else."""
        self._taken = True
        how, answer = self._how, self._answer
        by_itself = how == "assumed" and self.table.stands[row.source].visit
        if self._before is not None and how != "timed" and not by_itself:
            self._remember(self._before)
        self._not_confirmed()
        self._echo(row, how, answer)
        for effects in row.effects:
            self._apply(effects)
        if row.target == STAY:
            self._stay(row)
        elif row.target == "back":
            self._go_back(row, how, answer)
        else:
            self._arrive(row, how, answer)

    def ask_to_confirm(self, row: Row) -> None:
        """Called by the engine: good news is asked for a second time."""
        self._taken = True
        within_ms = int(self._rules.confirm_within_s * 1000)
        if self._may_hold():
            self._clock.wait_for(within_ms)
        self.memory.pending = row.trigger
        self._clock.confirm_until = self._now + within_ms
        self._say(self.table.to_confirm(row.trigger), "question")

    def _go_back(self, row: Row, how: How, answer: str | None) -> None:
        if not self.memory.back:
            raise Bug(f"{row.source!r} goes back, but from nowhere")
        *rest, place = self.memory.back
        self.memory.back = tuple(rest)
        engine_event = self._engine.events.get(back_to(place))
        if engine_event is None:
            raise Bug(f"no way back from {row.source} to {place}")
        self._before = None
        engine_event.trigger(self, self)

    def _arrive(self, row: Row, how: How, answer: str | None) -> None:
        stand, left = self.table.stands[row.target], self.table.stands[row.source]
        if not row.returns:
            self._keep_the_way_back(row, stand, left)
        self._emit(Moved(self._now, "care", row.source, row.target, how, answer))
        if not row.returns:
            for effects in stand.enter:
                self._apply(effects)
        outcome = stand.outcome or "open"
        if not stand.visit and outcome not in ("keep", self.outcome):
            self._learn("outcome", outcome)
            if outcome == "open" and self.memory.known["breathing"] == "better":
                self._learn("breathing", "unknown")
        self._begin(stand, left if row.returns else None)
        if stand.final:
            self.closed = True
            self._stop_beat()
            self._emit(Closed(self._now, self.outcome))

    def _keep_the_way_back(self, row: Row, stand: Stand, left: Stand) -> None:
        memory = self.memory
        if stand.visit and row.trigger == "gap":
            memory.back = (*memory.back, row.source)  # breaths may interrupt a visit
        elif stand.visit and not left.visit:
            memory.back = (row.source,)
        elif not stand.visit:
            memory.back = ()

    def _stay(self, row: Row) -> None:
        """An answer that does not move: say what it brings, then go on with the question."""
        cue = None
        for spoken in row.say:
            cue = self._say_spoken(spoken) or cue
        if row.say_summary:
            for spoken in self.table.summary:
                cue = self._say_spoken(spoken, "notice") or cue
        self._unclear = 0
        if self._sets and self.memory.known["tube"] == "proven open":
            self._sets = False
            self._pace_breaths(None)
        if self._how == "assumed" or (not row.everywhere and self._phase == "asking"):
            self._question_over(cue)
        elif self._phase == "asking":
            if cue is not None and not self.paced:
                again = self._say_prompt_again()
                if self._may_hold():
                    # Silence counts from the end of the prompt, and it has just been made new.
                    self._clock.repeat_at = self._clock.act_at = self._clock.every_at = None
                    self._waiting = again
            # Who has just spoken is there: the open question keeps a few seconds more.
            self._clock.keep_until(self._now + int(self._rules.halved_not_below_s * 1000))
            if self._waiting is None and self._clock.ask_at is None:
                self._silence_from(self._now)  # what was learned may have changed what silence does

    def _question_over(self, cue: int | None) -> None:
        """The open question is answered and the step stays: wait for the next time to ask."""
        stand, every_at = self.table.stands[self.step], self._clock.every_at
        self._clock.clear()
        self._waiting, self._asked = None, False
        if stand.ask_at_ms:
            self._ask_index = min(self._ask_index + 1, len(stand.ask_at_ms) - 1)
            self._clock.ask_at = self._now + stand.ask_at_ms[self._ask_index]
            self._clock.every_at = every_at
        elif cue is not None:
            self._waiting = cue
        else:
            self._silence_from(self._now)

    def _apply(self, effects: Effects) -> None:
        memory, how = self.memory, self._how
        for name, value in effects.learn.items():
            self._learn(name, value)
        for name in effects.set:
            if name not in memory.marks:
                memory.since[name] = self._now
        memory.marks.update(effects.set)
        memory.marks.difference_update(effects.clear)
        for name in effects.count:
            memory.counts[name] = memory.counts.get(name, 0) + 1
            self._emit(Learned(self._now, name, str(memory.counts[name]), how))
        for name in effects.reset:
            memory.counts.pop(name, None)
        for name in effects.set:
            self._emit(Learned(self._now, name, "yes", how))
        if effects.call:
            self.call.ask_now(self._now, effects.call, how, self.paced, self._choose)
        if effects.call_is:
            self.call.becomes(effects.call_is, self._now, how, self._say_all_to_operator)
        if effects.call_restarts:
            self.call.start(self._now)

    def _learn(self, name: str, value: str) -> None:
        memory, before = self.memory, self.memory.known[name]
        if before != value:
            memory.known[name] = value
            memory.since[f"{name} is {value}"] = self._now
            self._emit(Learned(self._now, name, value, self._how))
        if (name, value) == ("tube", "proven open"):
            memory.reason = None
        elif (name, before) == ("breathing", "better") and before != value:
            # A new bout of trouble: its breaths have yet to begin.
            self._last_breath = None
            memory.since.clear()

    # ------------------------------------------------------------------ a step from its beginning

    def _begin(self, stand: Stand, visited: Stand | None = None) -> None:
        self._clock.clear()
        self._outstanding.forget_care()
        self._talk.clear()
        self._waiting, self._unclear, self._asked_back, self._ask_index = None, 0, None, 0
        self._phase, self._asked = "talk", False
        self._breaths_first = False
        endless = self._beat if self._pace_cue is None else ""
        self._pace_cue = None
        self._beat_step = stand.name
        unproven = stand.beat == "breaths" and not stand.through_mask and self.memory.known["tube"] != "proven open"
        count = stand.beat_count
        self._sets = unproven and count is None
        if unproven:
            count = min(count or self._rules.test_breaths, self._rules.test_breaths)
        goes_on = stand.beat != "" and stand.beat == endless and count is None and self._sayable_over_a_beat(stand)
        if self._beat and not goes_on:
            self._stop_beat()
        breaths_given = visited is not None and visited.beat == "breaths"
        if stand.beat == "suction" and not breaths_given and self._breaths_due_within(stand):
            self._breaths_first = True
            return
        # Back from a visit: an open question is asked again, what was done before it is done.
        for spoken in () if visited and stand.ask and not stand.beat else stand.say:
            if (cue := self._say_spoken(spoken)) is not None:
                self._talk.add(cue)
        if stand.beat == "breaths" and not goes_on:
            cue = self._pace_breaths(count)
            if count is not None:
                self._talk.add(cue)
        elif stand.beat and not goes_on:
            cue = self._pace(stand.beat, count)
            if count is not None:
                self._talk.add(cue)
        if stand.ask and not stand.beat and not stand.ask_at_ms and not stand.then_say:
            # The question stands in the queue behind what is said: nothing comes between.
            self._talk.clear()
            self._ask()
        elif not self._talk:
            self._talk_over()

    def _sayable_over_a_beat(self, stand: Stand) -> bool:
        """What has more words waits for a stopped beat: the hands have something else to do first."""
        most = self._rules.most_words_while_paced
        return all(len(s.text.split()) <= most for s in stand.say if s.guard is None or s.guard(self.memory))

    def _talk_over(self) -> None:
        """All is said and the beat (if it has an end) is over: ask, go on, or wait."""
        stand = self.table.stands[self.step]
        for spoken in stand.then_say:
            self._say_spoken(spoken)
        if stand.ask:
            at = self._now
            if stand.beat in ("breaths", "pushes"):
                began = self._pace_began if self._pace_began is not None else self._now
                at = max(at, began + int(self._rules.ask_after_beat_s * 1000))
            at += stand.ask_at_ms[0] if stand.ask_at_ms else 0
            if at <= self._now:
                self._ask()
            else:
                self._phase = "asking"
                self._clock.ask_at = at
                if stand.ask_at_ms:
                    self._start_every()
        elif stand.has_after:
            if not self._fire("after", "timed", None):
                self._refuse("after", "what comes next needs a reason; waiting")
                self._phase = "asking"
        else:
            self._phase = "asking"
            self._silence_from(self._now)

    def _breaths_due_within(self, stand: Stand) -> bool:
        """Breaths would be missing before the pass is over: they come first, the pass after."""
        gap = self._gap_at()
        talk_ms = sum(speech_ms(s.text) for s in stand.say if s.guard is None or s.guard(self.memory))
        return gap is not None and gap < self._now + talk_ms + 1000 * (stand.beat_count or 0)

    def _ask(self) -> None:
        self._phase, self._asked = "asking", True
        stand = self.table.stands[self.step]
        if stand.ask_every_ms is not None:
            self._clock.ask_at = self._now + stand.ask_every_ms
        cue = self._say_first(stand.ask, "question")
        if cue is None:
            self._silence_from(self._now)
        else:
            self._waiting = cue

    def _silence_from(self, at: int) -> None:
        quiet = self._quiet()
        if quiet is None:
            return
        clock = self._clock
        at += clock.take_owed()
        if quiet.act_ms is not None and clock.act_at is None:
            act_ms = quiet.act_ms
            repeat_ms = quiet.repeat_ms
            if self._nobody_heard:
                act_ms = max(int(self._rules.halved_not_below_s * 1000), act_ms // 2)
            clock.act_at = at + act_ms
            if repeat_ms is not None and repeat_ms < act_ms:
                clock.repeat_at = at + repeat_ms
        if quiet.every_ms is not None and clock.every_at is None:
            clock.every_at = at + quiet.every_ms

    def _start_every(self) -> None:
        quiet = self._quiet()
        if quiet is not None and quiet.every_ms is not None:
            self._clock.every_at = self._now + quiet.every_ms

    def _quiet(self) -> Quiet | None:
        for quiet in self.table.stands[self.step].quiet:
            if quiet.guard is None or quiet.guard(self.memory):
                return quiet
        return None

    def _prompt_over(self, cue: int) -> None:
        self._outstanding.end(cue)
        if cue in self._before_beat:
            self._before_beat.discard(cue)
            if not self._before_beat and self._beat == "breaths":
                self._last_breath = self._now
        if cue == self._pace_cue:
            self._pace_cue = None
            self._beat = ""
            self._pace_began = self._now - self._pace_lasts_ms
            if self.table.stands[self.step].beat == "breaths":
                self._breathed()
        if cue in self._talk:
            self._talk.discard(cue)
            if not self._talk:
                if self._beat in ("breaths", "pushes") and self._pace_began is None:
                    self._pace_began = self._now
                self._talk_over()
        elif cue == self._waiting:
            self._waiting = None
            self._silence_from(self._now)

    # ------------------------------------------------------------------ beats

    def _pace_breaths(self, count: int | None) -> int:
        cue = self._pace("breaths", count)
        if not self._before_beat:
            self._last_breath = self._now
        return cue

    def _pace(self, what: str, count: int | None) -> int:
        numbers = self._numbers
        cue = self._cue_number()
        pushes, breaths, per_minute = 0, 0, numbers["breaths_per_minute"]
        if what == "suction":
            per_minute = 60.0
        elif what == "pushes":
            per_minute = numbers["pushes_per_minute"]
            pushes, breaths = int(numbers["pushes_a_cycle"]), int(numbers["breaths_a_cycle"])
        self._emit(Pace(self._now, cue, what, per_minute, count, pushes, breaths))
        lasts = None if count is None else int(count * 60_000 / per_minute)
        self._outstanding.add(cue, self._now, lasts, "beat")
        self._pace_began, self._pace_lasts_ms = None, lasts or 0
        self._beat, self._pace_cue = what, None if count is None else cue
        # It begins when what stands before it in the queue has been said.
        self._before_beat = {cue for cue in self._talk if self._outstanding.role(cue) != "beat"}
        return cue

    def _stop_beat(self) -> None:
        if self._beat == "breaths" and not self._before_beat:
            self._breathed()
        elif self._beat == "pushes" and not self._before_beat:
            self._last_breath = self._now
        if self._beat:
            self._emit(PaceStopped(self._now))
        self._beat, self._pace_cue = "", None

    def _breathed(self) -> None:
        """A beat of breaths is over: its last tone was up to one interval ago."""
        self._last_breath = self._now - int(60_000 / self._numbers["breaths_per_minute"])

    # ------------------------------------------------------------------ speaking

    def _echo(self, row: Row, how: How, answer: str | None) -> None:
        if answer is None or how not in ("spoken", "keyed"):
            return
        if self.table.flow.answers[answer].risk == "plain":
            self._emit(Tone(self._now, self._cue_number(), "noted"))
        else:
            self._say(self.table.heard(answer), "echo")

    def _say_spoken(self, spoken: Spoken, role: str = "care") -> int | None:
        if spoken.guard is not None and not spoken.guard(self.memory):
            return None
        self.memory.marks.update(spoken.marks)
        return self._say(spoken.text, role)

    def _say_first(self, lines: tuple[Spoken, ...], role: str = "care") -> int | None:
        for spoken in lines:
            if (cue := self._say_spoken(spoken, role)) is not None:
                return cue
        return None

    def _say_prompt_again(self) -> int | None:
        """Repeats the open question, or the last thing to do."""
        stand = self.table.stands[self.step]
        if stand.ask and self._phase == "asking":
            return self._say_first(stand.ask, "question")
        to_do = [s for s in stand.say if (s.guard is None or s.guard(self.memory)) and not self._for_helper(s.text)]
        return self._say_spoken(to_do[-1]) if to_do else None

    def _say_all_to_operator(self, lines: tuple[Spoken, ...]) -> None:
        for spoken in lines:
            self._say_spoken(spoken, "call")

    def _say(self, text: str, role: str) -> int:
        if role == "care" and self._for_helper(text):
            role = "helper"
        cue = self._cue_number()
        self._emit(Say(self._now, cue, text, role, self.step))
        self._outstanding.add(cue, self._now, speech_ms(text), role)
        if role in ("care", "question"):
            self._last_prompt = text
        return cue

    def _choose(self, lines: tuple[Spoken, ...]) -> str | None:
        for spoken in lines:
            if spoken.guard is None or spoken.guard(self.memory):
                return spoken.text
        return None

    def _for_helper(self, text: str) -> bool:
        helper = self.table.variant.words.get("helper")
        return bool(helper) and text.startswith(f"{helper}:")

    # ------------------------------------------------------------------ small things

    def _somebody_heard(self) -> None:
        self._nobody_heard = False

    def _as_it_is(self) -> _Before:
        return _Before(self.step, self.memory.copy(), self.call.step)

    def _remember(self, before: _Before) -> None:
        self._history.append(before)
        del self._history[: -self._rules.undo_depth]

    def _cue_number(self) -> int:
        self._next_cue += 1
        return self._next_cue - 1

    def _emit(self, cue: Record) -> None:
        self._cues.append(cue)

    def _refuse(self, what: str, why: str) -> None:
        self._emit(Refused(self._now, what, why))


_HANDLERS: dict[type, Callable[[FlowMachine, Any], None]] = {
    Started: FlowMachine._started_event,
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
