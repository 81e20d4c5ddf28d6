"""Journal events on the incident's own clock, with getters that bear any content."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from prompter.journal import Reading


@dataclass(frozen=True, slots=True)
class Timed:
    """One journal event. `t_s`: seconds since the emergency began (negative before it)."""

    t_s: float
    fields: dict[str, Any]

    @property
    def kind(self) -> str:
        return self.fields["kind"]

    def text(self, name: str) -> str:
        """The field as text; empty if missing or None."""
        value = self.fields.get(name)
        return "" if value is None else str(value)

    def number(self, name: str) -> float | None:
        """The field as a number; None if it is missing or something else."""
        value = self.fields.get(name)
        return (
            float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
        )

    def is_a(self, kind: str, **fields: Any) -> bool:
        """True if kind and these fields are exactly so."""
        return self.kind == kind and all(self.fields.get(k) == v for k, v in fields.items())


def timed(reading: Reading) -> list[Timed]:
    """The events with their seconds since `started` (or the first event).

    The session's clock counts (`mono_ms`); where it starts again, as after a power loss, the wall
    clock's difference bridges the gap.
    """
    events = reading.events
    clock_s, seconds = 0.0, []
    for before, event in zip([None, *events], events, strict=False):
        if before is not None:
            step_s = (event["mono_ms"] - before["mono_ms"]) / 1000
            if step_s < 0:
                step_s = max(0.0, (_wall(event) - _wall(before)).total_seconds())
            clock_s += step_s
        seconds.append(clock_s)
    zero_s = next((s for s, e in zip(seconds, events, strict=True) if e["kind"] == "started"), 0.0)
    return [Timed(round(s - zero_s, 3), e) for s, e in zip(seconds, events, strict=True)]


def _wall(event: dict[str, Any]) -> datetime:
    return datetime.fromisoformat(event["at"])
