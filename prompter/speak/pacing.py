"""When each beat of a pace falls, in samples: pure arithmetic from the beat's number.

Nothing is added up from beat to beat, so a pace cannot drift: every position is rounded once.
Rates and ratios come with the cue (from the flow and the care plan), see REFERENCES:
- breaths with a pulse, infant or child 20 to 30 a minute, adult 10: 2020 AHA Guidelines, Parts 4
  (Topjian et al.) and 3 (Panchal et al.), Circulation 2020;142(suppl 2);
- pushes 100 to 120 a minute, 30:2 with one rescuer, 15:2 with two for an infant or child: the same.
"""

import math
from dataclasses import dataclass

from prompter.errors import Bug
from prompter.events import Pace
from prompter.speak import tones

BREATH_SLOT_S = 2.0
"""A breath among pushes: one second of squeeze (2020 AHA Guidelines) and one to let it out, so that
two breaths keep the pushes waiting for less than 10 s (the same guidelines, from memory)."""

LAST_BEAT_S = 2.0
"""A counted pace is over this long after its last beat began, or when the next would begin."""

TICK_S = 1.0
"""Suction is counted in seconds."""

_WHATS = {"breaths": "breath", "pushes": "push", "suction": "tick"}


@dataclass(frozen=True, slots=True)
class Grid:
    """The positions of beats 0, 1, 2, … of one kind of pace, counted from its start."""

    what: str
    per_minute: float
    pushes_a_cycle: int
    breaths_a_cycle: int
    rate_hz: int

    @classmethod
    def of(cls, pace: Pace, rate_hz: int) -> "Grid":
        """The cue's grid at a sample rate. Raises Bug for a pace that cannot be played."""
        pushes, breaths = 0, 0
        if pace.what == "pushes" and pace.pushes_a_cycle > 0 and pace.breaths_a_cycle > 0:
            pushes, breaths = pace.pushes_a_cycle, pace.breaths_a_cycle
        per_minute = 60.0 / TICK_S if pace.what == "suction" else float(pace.per_minute)
        if pace.what not in _WHATS or not (math.isfinite(per_minute) and 0 < per_minute <= 600):
            raise Bug(f"no pace of {pace.per_minute} {pace.what} a minute")
        if pace.count is not None and pace.count < 1:
            raise Bug(f"a pace of {pace.count} {pace.what}")
        return cls(pace.what, per_minute, pushes, breaths, rate_hz)

    @property
    def period_s(self) -> float:
        return 60.0 / self.per_minute

    @property
    def cycle(self) -> int:
        """Beats in a cycle of pushes and breaths; 1 where all beats are alike."""
        return self.pushes_a_cycle + self.breaths_a_cycle or 1

    def beat(self, number: int) -> str:
        """What beat `number` is: 'breath', 'push' or 'tick'."""
        if self.breaths_a_cycle and number % self.cycle >= self.pushes_a_cycle:
            return "breath"
        return _WHATS[self.what]

    def offset(self, number: int) -> int:
        """Samples from the start of the grid to the start of beat `number`."""
        if not self.breaths_a_cycle:
            return round(number * self.period_s * self.rate_hz)
        cycles, within = divmod(number, self.cycle)
        pushes = cycles * self.pushes_a_cycle + min(within, self.pushes_a_cycle)
        breaths = cycles * self.breaths_a_cycle + max(0, within - self.pushes_a_cycle)
        return round((pushes * self.period_s + breaths * BREATH_SLOT_S) * self.rate_hz)

    def slot(self, what: str) -> int:
        """Samples from the start of a beat of this kind to that of the next."""
        among_pushes = self.what == "pushes" and what == "breath"
        return round((BREATH_SLOT_S if among_pushes else self.period_s) * self.rate_hz)

    def breath_s(self) -> float:
        """How long the sound of a breath lasts: half the time there is for it, at most."""
        slot_s = BREATH_SLOT_S if self.what == "pushes" else self.period_s
        return min(tones.BREATH_S, slot_s / 2)

    def until(self, first: int, count: int) -> int:
        """The number after the last beat of a pace of `count` that begins at beat `first`.

        Among pushes and breaths only pushes are counted, and breaths that complete a cycle follow.
        """
        if not self.breaths_a_cycle:
            return first + count
        cycles, within = divmod(first, self.cycle)
        last_push = cycles * self.pushes_a_cycle + min(within, self.pushes_a_cycle) + count - 1
        cycles, within = divmod(last_push, self.pushes_a_cycle)
        after = cycles * self.cycle + within + 1
        return after + self.breaths_a_cycle if within + 1 == self.pushes_a_cycle else after

    def end(self, after: int) -> int:
        """Samples from the start of the grid to the end of a pace with `after` - 1 as its last."""
        last = self.offset(after - 1) + round(LAST_BEAT_S * self.rate_hz)
        return min(self.offset(after), last)
