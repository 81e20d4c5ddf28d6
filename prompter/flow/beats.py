"""Breaths, pushes and suction seconds: when they are paced, and when breaths have been missing too long."""

from prompter.events import Pace, PaceStopped
from prompter.flow.conditions import guard_of, left_open
from prompter.flow.engine import Engine
from prompter.flow.speaking import Speaking
from prompter.flow.table import Table
from prompter.limits import SPEECH_GAP_MS


class Beats(Speaking):
    """Paces, and knows when the last breath was."""

    def __init__(self, table: Table, engine: Engine | None) -> None:
        super().__init__(table)
        self._engine = engine or Engine(table)
        self._pace_cue: int | None = None  # of a beat with an end
        self._pace_began: int | None = None
        self._pace_lasts_ms = 0
        self._before_beat: set[int] = set()  # what is said before it begins
        self._beat_from = 0  # when it began, as far as is known
        self._breaths_first = False
        self._last_breath: int | None = None
        self._breath_before: int | None = None  # the last one before the beat that was begun last
        self._cut_short_at: int | None = None  # when breaths were asked for that were ended before the first of them
        self._missing_from: int | None = None  # before the first was given: since when it is known that there are none, that they were about to be asked for, or that it got worse again
        self._talk: set[int] = set()  # what must end before the step asks or goes on
        self._gaps = [
            (guard_of(atoms), line.since, int(line.after_s * 1000))
            for line in self._rules.breath_gap
            if (atoms := left_open(line.when, table.variant.facts)) is not None
        ]
        # Pushes ended within their first cycle gave no breath (and too few pushes to move air, where breaths never come between them).
        self._first_cycle_ms = int(60_000 * self._numbers["pushes_a_cycle"] / self._numbers["pushes_per_minute"])
        self._gaps_since = [line for line in self._gaps if line[1]]  # without a breath yet these alone can apply

    def _gap_at(self) -> int | None:
        """When breaths have been missing for as long as the rules allow."""
        if self._pace_cue is not None or self._beat in ("breaths", "pushes") or self.step not in self.table.may_gap:
            return None
        memory = self.memory
        if memory.known["breathing"] == "better":
            return None
        if self._breaths_first:
            return self.now_ms
        breath, times = self._last_breath, memory.since
        known = breath if breath is not None else self._missing_from
        for guard, since, after_ms in self._gaps if known is not None else self._gaps_since:
            began = times.get(since) if since else known
            asked = breath if self._cut_short_at is None or not since else self._cut_short_at
            if began is None or (asked is not None and asked > began):
                continue  # this line does not apply (any more)
            if guard is None or guard(memory):
                return began + after_ms
        return None

    def _pace_breaths(self, count: int | None) -> int:
        cue = self._pace("breaths", count)
        if not self._before_beat:
            self._breaths_begin()
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
        self.emit(Pace(self.now_ms, cue, what, per_minute, count, pushes, breaths))
        lasts = None if count is None else int(count * 60_000 / per_minute)
        self._outstanding.add(cue, self.now_ms, lasts, "beat")
        self._pace_began, self._pace_lasts_ms = None, lasts or 0
        self._beat, self._pace_cue = what, None if count is None else cue
        # It begins when what stands before it in the queue has been said.
        self._before_beat = {cue for cue in self._talk if self._outstanding.role(cue) != "beat"}
        self._beat_from = self.now_ms
        return cue

    def _stop_beat(self) -> None:
        sounded = not self._before_beat and self.now_ms > self._beat_from + SPEECH_GAP_MS
        if self._beat == "breaths" and not self._before_beat:
            self._breathed()
            if not sounded:  # ended before the first: none was given
                self._last_breath, self._cut_short_at = self._breath_before, self._last_breath
                if self._last_breath is None and self._missing_from is None:
                    self._missing_from = self._cut_short_at
        elif self._beat == "breaths" and self._last_breath is None and self._missing_from is None:
            self._missing_from = self.now_ms  # they were about to be asked for
        elif self._beat == "pushes" and sounded and self.now_ms >= self._beat_from + self._first_cycle_ms:
            self._last_breath, self._cut_short_at = self.now_ms, None
        if self._beat:
            self.emit(PaceStopped(self.now_ms))
        self._beat, self._pace_cue = "", None

    def _breaths_begin(self) -> None:
        self._breath_before, self._last_breath, self._cut_short_at = self._last_breath, self.now_ms, None

    def _breathed(self) -> None:
        """A beat of breaths is over: its last tone was up to one interval ago."""
        self._last_breath = self.now_ms - int(60_000 / self._numbers["breaths_per_minute"])
