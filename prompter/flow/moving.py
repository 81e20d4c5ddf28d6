"""From step to step: the rows of the table, what they teach, visits and the way back, undo."""

from dataclasses import dataclass

from prompter.errors import Bug
from prompter.events import Closed, How, Learned, Moved, Tone
from prompter.flow.call import Call
from prompter.flow.document import Effects
from prompter.flow.engine import Engine
from prompter.flow.memory import Memory
from prompter.flow.standing import Standing
from prompter.flow.table import STAY, Row, Stand, Table, back_to


@dataclass(frozen=True, slots=True)
class Before:
    """How things stood before an answer or assumption, for "that was wrong"."""

    step: str
    memory: Memory
    call: str


class Moving(Standing):
    """Takes rows. Nothing else changes the step."""

    def __init__(self, table: Table, engine: Engine | None) -> None:
        super().__init__(table, engine)
        self.call = Call(table)
        self.closed = False
        self._history: list[Before] = []
        self._before: Before | None = None
        self._how: How = "timed"
        self._answer: str | None = None
        self._taken = False
        self._acknowledged = False  # the answer was read back when it was said
        self._once_more: int | None = None  # the prompt that asks for good news a second time
        self._confirm_within_ms = int(self._rules.confirm_within_s * 1000)

    @property
    def outcome(self) -> str:
        return self.memory.known["outcome"]

    def _fire(self, trigger: str, how: How, answer: str | None) -> bool:
        event = self._engine.event(trigger)
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
                self.emit(Learned(self.now_ms, "assumed", note, "assumed"))
        else:
            self._refuse("silence", "silence alone does not lead on from here")
            self._clock.clear()
            self._say_prompt_again()
            self._silence_from(self.now_ms)
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
        self.memory.pending = row.trigger
        self._confirm_from(self.now_ms)
        self._once_more = self.say(self.table.to_confirm(row.trigger), "question")

    def _confirm_from(self, at: int) -> None:
        """The second time counts within the rule's seconds from here."""
        self._wait_for_second_time(at + self._confirm_within_ms)

    def _wait_for_second_time(self, until: int) -> None:
        """Until then the second time counts, and what silence does waits for it."""
        before = self._clock.confirm_until
        if self._may_hold():
            self._clock.wait_for(until - (self.now_ms if before is None else before))
        self._clock.confirm_until = until

    def _prompt_over(self, cue: int) -> None:
        if cue == self._once_more:
            # Nobody answers a question before it has been asked: who takes eight seconds after it has them.
            self._confirm_from(self.now_ms)
        super()._prompt_over(cue)

    def _not_confirmed(self) -> None:
        self.memory.pending = self._clock.confirm_until = self._once_more = None

    def _echo(self, row: Row, how: How, answer: str | None) -> None:
        if answer is not None and how in ("spoken", "keyed") and not self._acknowledged:
            self._acknowledge(answer)

    def _acknowledge(self, answer: str) -> None:
        if self.table.flow.answers[answer].risk == "plain":
            self.emit(Tone(self.now_ms, self._cue_number(), "noted"))
        else:
            self.say(self.table.heard(answer), "echo")

    def _go_back(self, row: Row, how: How, answer: str | None) -> None:
        if not self.memory.back:
            raise Bug(f"{row.source!r} goes back, but from nowhere")
        *rest, place = self.memory.back
        self.memory.back = tuple(rest)
        engine_event = self._engine.event(back_to(place))
        if engine_event is None:
            raise Bug(f"no way back from {row.source} to {place}")
        acknowledged, self._before, self._acknowledged = self._acknowledged, None, True
        engine_event.trigger(self, self)
        self._acknowledged = acknowledged
        self._taken = True  # what was kept for the return may have led nowhere

    def _arrive(self, row: Row, how: How, answer: str | None) -> None:
        stand, left = self.table.stands[row.target], self.table.stands[row.source]
        if not row.returns:
            self._keep_the_way_back(row, stand, left)
        self.emit(Moved(self.now_ms, "care", row.source, row.target, how, answer))
        if not row.returns:
            for effects in stand.enter:
                self._apply(effects)
        outcome = stand.outcome or "open"
        if not stand.visit and outcome not in ("keep", self.outcome):
            self._learn("outcome", outcome)
            if outcome == "open":
                self.call.wake(self)
            if outcome == "open" and self.memory.known["breathing"] == "better":
                self._learn("breathing", "unknown")
        kept = self.memory.kept if row.returns else None
        if not stand.visit:
            self.memory.kept = None
        if kept is None or stand.visit or not self._take_kept(*kept):
            self._begin(stand, left if row.returns else None)
        if stand.final:
            self.closed = True
            self._stop_beat()
            self.emit(Closed(self.now_ms, self.outcome))

    def _interrupted(self) -> str | None:
        """The step whose question a visit interrupted, if its answers still count.

        Not one with a beat: there nothing is asked that the visit did not come for.
        """
        stands, back = self.table.stands, self.memory.back
        if not stands[self.step].visit or not back:
            return None
        step = stands[back[-1]]
        return None if step.visit or step.beat else step.name

    def _answer_interrupted(self, answer: str, how: How) -> bool:
        """An answer to the interrupted question: bad news acts at once, the rest on the return."""
        place = self._interrupted()
        if place is None or answer not in self.table.stands[place].own_answers:
            return False
        body = self.table.flow.answers.get(answer)
        if body is not None and body.news == "bad":
            return self._act_at(place, answer, how)
        self.memory.kept = (answer, how)
        if body is not None:
            self._acknowledge(answer)
        return True

    def _act_at(self, place: str, answer: str, how: How) -> bool:
        """Leaves the visit for the step it interrupted and takes the answer there."""
        visit, memory = self.step, self.memory
        cues = len(self._cues)
        self.memory = memory.copy()
        self.memory.back, self.memory.kept, self.step = (), None, place
        self.emit(Moved(self.now_ms, "care", visit, place, how, answer))
        if self._fire(answer, how, answer):
            if self.step == place:
                self._begin(self.table.stands[place], self.table.stands[visit])
            return True
        self.step, self.memory = visit, memory
        del self._cues[cues:]
        return False

    def _take_kept(self, answer: str, how: How) -> bool:
        """What was said during the visit, now that its step is there again; it was acknowledged then."""
        self._stand_asked()
        self._before, self._acknowledged = self._as_it_is(), True
        body = self.table.flow.answers.get(answer)
        if body is not None and body.reason:
            self.memory.reason = answer
        taken = self._fire(answer, how, answer if body is not None else None)
        self._before, self._acknowledged = None, False
        return taken

    def _keep_the_way_back(self, row: Row, stand: Stand, left: Stand) -> None:
        memory = self.memory
        if stand.visit and row.trigger == "gap":
            memory.back = (*memory.back, row.source)  # breaths may interrupt a visit
        elif stand.visit and not left.visit:
            memory.back = (row.source,)
        elif stand.visit and row.trigger in self.table.flow.answers:
            memory.back = memory.back[:1]  # who speaks of something else on the way gives up what was interrupted there
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
                self._wait_after(self._say_prompt_again())
            # Who has just spoken is there: the open question keeps a few seconds more.
            self._clock.keep_until(self.now_ms + int(self._rules.halved_not_below_s * 1000))
            if self._waiting is None and self._clock.ask_at is None:
                self._silence_from(self.now_ms)  # what was learned may have changed what silence does

    def _question_over(self, cue: int | None) -> None:
        """The open question is answered and the step stays: wait for the next time to ask."""
        stand, every_at = self.table.stands[self.step], self._clock.every_at
        self._clock.clear()
        self._waiting, self._asked = None, False
        if stand.ask_at_ms:
            self._ask_index = min(self._ask_index + 1, len(stand.ask_at_ms) - 1)
            self._clock.ask_at = self.now_ms + stand.ask_at_ms[self._ask_index]
            self._clock.every_at = every_at
        else:
            self._await(cue)

    def _apply(self, effects: Effects) -> None:
        memory, how = self.memory, self._how
        for name, value in effects.learn.items():
            self._learn(name, value)
        for name in effects.set:
            if name not in memory.marks:
                memory.since[name] = self.now_ms
        memory.marks.update(effects.set)
        memory.marks.difference_update(effects.clear)
        for name in effects.count:
            memory.counts[name] = memory.counts.get(name, 0) + 1
            self.emit(Learned(self.now_ms, name, str(memory.counts[name]), how))
        for name in effects.reset:
            memory.counts.pop(name, None)
        for name in effects.set:
            self.emit(Learned(self.now_ms, name, "yes", how))
        if effects.call:
            self.call.ask_now(self, effects.call, how)
        if effects.call_is:
            self.call.becomes(effects.call_is, self, how)
        if effects.call_restarts:
            self.call.start(self)

    def _learn(self, name: str, value: str) -> None:
        memory, before = self.memory, self.memory.known[name]
        if before != value:
            memory.known[name] = value
            memory.since[f"{name} is {value}"] = self.now_ms
            self.emit(Learned(self.now_ms, name, value, self._how))
        if (name, value) == ("tube", "proven open"):
            memory.reason = None
        elif (name, before) == ("breathing", "better") and before != value:
            # A new bout of trouble: its breaths have yet to begin, and are missed from now on.
            self._last_breath, self._missing_from, self._cut_short_at = None, self.now_ms, None
            memory.since.clear()
        if (name, value) == ("breathing", "no") and self._last_breath is None and self._missing_from is None:
            self._missing_from = self.now_ms

    def _undo(self) -> None:
        kept = self.memory.kept
        if kept and not (self._history and self._history[-1].memory.kept == kept):
            self.memory.kept = None  # it had not led anywhere yet
            self.say(self._rules.going_back, "notice")
            return
        if not self._history:
            self._refuse("wrong", "there is nothing to take back")
            return
        before = self._history.pop()
        # A copy: who forked this machine may take the same answer back as well.
        source, self.step, self.memory = self.step, before.step, before.memory.copy()
        self._at(self.now_ms)
        self._not_confirmed()
        self.emit(Moved(self.now_ms, "care", source, before.step, "spoken", "wrong"))
        self.call.take_back(before.call, self)
        self.say(self._rules.going_back, "notice")
        self._begin(self.table.stands[before.step])

    def _as_it_is(self) -> Before:
        return Before(self.step, self.memory.copy(), self.call.step)

    def _remember(self, before: Before) -> None:
        self._history.append(before)
        del self._history[: -self._rules.undo_depth]

    def _at(self, now: int) -> None:
        self.now_ms = self.memory.now_ms = now
