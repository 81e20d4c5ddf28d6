"""One step from its beginning: what is said, the beat, the question, and the silence after it."""

from prompter.errors import Bug
from prompter.events import How
from prompter.flow.beats import Beats
from prompter.flow.engine import Engine
from prompter.flow.outstanding import speech_ms
from prompter.flow.silence import SilenceClock
from prompter.flow.table import Quiet, Stand, Table


class Standing(Beats):
    """Stands in one step. What leads on from it is the layer above's."""

    def __init__(self, table: Table, engine: Engine | None) -> None:
        super().__init__(table, engine)
        rules = self._rules
        self._clock = SilenceClock(
            int(rules.pause_while_speaking_s * 1000), int(rules.hold_s * 1000)
        )
        self._waiting: int | None = None  # the prompt from whose end silence counts
        self._question: int | None = None  # the step's question, until it has been heard once
        self._beat_step = self.step  # whose beat was asked for last
        self._ask_index = 0
        self._asked = False
        self._sets = False  # breaths in sets: the tube is not proven open
        self._nobody_heard = False
        self._unclear = 0
        self._asked_back: str | None = None
        self._asked_back_score: float | None = None  # log-odds at which it was heard
        self._read_back = False  # whether the number that was asked back was named

    def _fire(self, trigger: str, how: How, answer: str | None) -> bool:
        """Takes the row of this trigger, if one holds: the layer above does."""
        raise Bug(f"nothing leads on from {self.step!r}")

    @property
    def waits(self) -> bool:
        """All is said at this step, and an answer is awaited."""
        return self._phase == "asking" and self._waiting is None and (self._asked or self._clock.ask_at is None)

    def _leave(self) -> None:
        """What the step before still had to say, ask or wait for is over."""
        self._clock.clear()
        self._outstanding.forget_care()
        self._talk.clear()
        self._waiting, self._unclear, self._asked_back, self._ask_index = None, 0, None, 0
        self._question = None
        self._breaths_first = False

    def _stand_asked(self) -> None:
        """Stands in a step whose question has been asked (and answered) already."""
        self._leave()
        self._stop_beat()
        self._phase, self._asked = "asking", True

    def _begin(self, stand: Stand, visited: Stand | None = None) -> None:
        self._leave()
        self._phase, self._asked = "talk", False
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

    def _breaths_due_within(self, stand: Stand) -> bool:
        """Breaths would be missing before the pass is over: they come first, the pass after."""
        gap = self._gap_at()
        talk_ms = sum(speech_ms(s.text) for s in stand.say if s.guard is None or s.guard(self.memory))
        return gap is not None and gap < self.now_ms + talk_ms + 1000 * (stand.beat_count or 0)

    def _talk_over(self) -> None:
        """All is said and the beat (if it has an end) is over: ask, go on, or wait."""
        stand = self.table.stands[self.step]
        for spoken in stand.then_say:
            self._say_spoken(spoken)
        if stand.ask:
            at = self.now_ms
            if stand.beat in ("breaths", "pushes"):
                began = self._pace_began if self._pace_began is not None else self.now_ms
                at = max(at, began + int(self._rules.ask_after_beat_s * 1000))
            at += stand.ask_at_ms[0] if stand.ask_at_ms else 0
            if at <= self.now_ms:
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
            self._silence_from(self.now_ms)

    def _ask(self) -> None:
        self._phase, self._asked = "asking", True
        stand = self.table.stands[self.step]
        if stand.ask_every_ms is not None:
            self._clock.ask_at = self.now_ms + stand.ask_every_ms
        self._question = self._say_first(stand.ask, "question")
        self._await(self._question)

    def _await(self, cue: int | None) -> None:
        """Silence counts from the end of this prompt; at once without one."""
        if cue is None:
            self._silence_from(self.now_ms)
        else:
            self._waiting = cue

    def _wait_after(self, cue: int | None) -> None:
        """The question has just been made new: silence counts from the end of that prompt."""
        if cue is not None and self._may_hold():
            self._clock.repeat_at = self._clock.act_at = self._clock.every_at = None
            self._waiting = cue

    def _prompt_over(self, cue: int) -> None:
        self._outstanding.end(cue)
        if cue == self._question:
            self._question = None
        if cue in self._before_beat:
            self._before_beat.discard(cue)
            if not self._before_beat:
                self._beat_from = self.now_ms
                if self._beat == "breaths":
                    self._breaths_begin()
        if cue == self._pace_cue:
            self._pace_cue = None
            self._beat = ""
            self._pace_began = self.now_ms - self._pace_lasts_ms
            if self.table.stands[self.step].beat == "breaths":
                self._breathed()
        if cue in self._talk:
            self._talk.discard(cue)
            if not self._talk:
                if self._beat in ("breaths", "pushes") and self._pace_began is None:
                    self._pace_began = self.now_ms
                self._talk_over()
        elif cue == self._waiting:
            self._waiting = None
            self._silence_from(self.now_ms)

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
            self._clock.every_at = self.now_ms + quiet.every_ms

    def _quiet(self) -> Quiet | None:
        for quiet in self.table.stands[self.step].quiet:
            if quiet.guard is None or quiet.guard(self.memory):
                return quiet
        return None

    def _may_hold(self) -> bool:
        quiet = self._quiet()
        return quiet is None or quiet.may_hold
