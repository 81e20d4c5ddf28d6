"""A body in a few numbers: saturation falls without breaths and rises with them. Simple on purpose.

Above 90% the fall follows the published time (with less for air than for oxygen), below it the
oxygen held by the blood over the oxygen used. Heart, carbon dioxide and bleeding are left out.
"""

from prompter.practise.world.airway import Airway
from prompter.practise.world.parameters import Parameters

ENOUGH = 0.7
"""Share of the need from which the saturation does not fall. Assumed."""

EFFECTIVE = 0.5
"""Share of the need under which a second counts as one without effective breaths. Assumed."""

LOWEST_PERCENT = 15.0
STEP_MS = 2_000


class Patient:
    """`advance(now_ms)` brings it up to a time; `breath` is one squeeze that was given."""

    def __init__(self, p: Parameters, age: str, usual: float, airway: Airway, per_minute: float) -> None:
        self.airway, self._p = airway, p
        table = p.tables
        self._reserve_s = table["to_90_after_oxygen_s"][age] * p["patient.lung_reserve_on_air"]
        self._fall = table["fall_percent_s"][age] * p["patient.fall_factor"]
        self._worth_ms = 60_000 / per_minute
        self._recovery, self._stops = p["patient.recovery_percent_s"], p["patient.stops_breathing_at_percent"]
        self._more_reserve = p["patient.oxygen_reserve"]
        self.usual, self.spo2 = usual, usual
        self.effort = 1.0
        """How well the patient breathes by itself if the way is open: 0 to 1."""
        self.apnoea_until = 0
        self.oxygen_on = False
        self.now = 0
        self._bank_ms = 0.0
        self.lowest, self.without_ms = usual, 0
        self._past: list[tuple[int, float]] = [(0, usual)]
        self.driven = True

    def breath(self, flow: float) -> None:
        """One squeeze of which `flow` (0 to 1) reaches the lungs, at the present time."""
        self._bank_ms = min(2 * self._worth_ms, self._bank_ms + flow * self._worth_ms * 1.1)

    def breathes(self) -> float:
        """What its own breaths bring now."""
        effort = 1.0 if self.airway.ventilator == "on" else self.effort
        return self.airway.own() * effort if self.driven and self.now >= self.apnoea_until else 0.0

    def moves_chest(self) -> bool:
        """Tries to breathe, whether air comes or not."""
        return self.driven and self.now >= self.apnoea_until and self.effort > 0

    def well(self) -> bool:
        """Breathes enough by itself."""
        return self.breathes() >= ENOUGH and self.spo2 >= 90

    def advance(self, to_ms: int) -> None:
        while (left := to_ms - self.now) > 0:
            step = left if left < STEP_MS else STEP_MS
            self._step(step)
            self.now += step

    def _step(self, ms: int) -> None:
        # Comparisons, not min and max: of all that is simulated this runs most often.
        share, spo2, bank = self.breathes(), self.spo2, self._bank_ms
        if bank > 0:
            share += 1.0 if bank >= ms else bank / ms
            self._bank_ms = bank - ms if bank > ms else 0.0
        if share < EFFECTIVE:
            self.without_ms += ms
        if share < ENOUGH:
            spo2 -= self._fall_percent_s() * (1 - share / ENOUGH) * (ms / 1000)
            if spo2 < LOWEST_PERCENT:
                spo2 = LOWEST_PERCENT
        else:
            more = (share - ENOUGH) / (1 - ENOUGH) + 0.2
            spo2 += self._recovery * (1.0 if more > 1.0 else more) * (ms / 1000)
            best = self.usual
            if self.oxygen_on:
                best = 100.0 if best > 98 else best + 2
            if spo2 > best:
                spo2 = best
        self.spo2 = spo2
        if spo2 < self.lowest:
            self.lowest = spo2
        self.driven = spo2 >= self._stops + (0 if self.driven else 20)
        if self.now - self._past[-1][0] >= 5_000:
            self._past.append((self.now, self.spo2))

    def _fall_percent_s(self) -> float:
        if self.spo2 <= 90:
            return self._fall
        reserve = self._reserve_s * (self._more_reserve if self.oxygen_on else 1.0)
        return max(1.0, self.usual - 90) / reserve

    def shown(self) -> int:
        """What an oximeter shows: some seconds old."""
        at = self.now - self._p["patient.oximeter_lag_s"] * 1000
        for when, value in reversed(self._past):
            if when <= at:
                return max(40, round(value))
        return round(self._past[0][1])

    def lowest_since(self, at_ms: int | None) -> float | None:
        """The lowest saturation from then on, to five seconds; None for None."""
        return None if at_ms is None else min([value for when, value in self._past if when >= at_ms], default=self.spo2)

    def start_measuring(self) -> None:
        """Help begins: time counts from here, and what was before is not measured."""
        shift, self.now = self.now, 0
        self.apnoea_until = max(0, self.apnoea_until - shift)
        self._past = [(when - shift, value) for when, value in self._past]
        self.lowest, self.without_ms = self.spo2, 0
