"""What one emergency has taught so far: the facts that conditions ask about and "that was wrong" restores."""

from collections.abc import Container
from dataclasses import dataclass, field

from prompter.events import How

KNOWN: dict[str, tuple[str, ...]] = {
    "tube": ("unknown", "proven open", "out"),
    "breathing": ("unknown", "trouble", "no", "better"),
    "passed": ("unknown", "yes", "no"),
    "rise": ("unknown", "yes", "no"),
    "size": ("same", "smaller"),
    "oxygen": ("unknown", "on", "none"),
    "pushes": ("not", "started", "ended"),
    "outcome": ("open", "better", "handed over"),
}
"""What a flow may `learn`, and the values; the first is where each begins."""


@dataclass(slots=True)
class Memory:
    """Mutable, but copied whole before each answer, so that undo is exact.

    `reason`: the answer that, spoken or keyed, justifies taking the tube out; None again once the
    tube is proven open. `back`: the steps that visits (suction, two breaths) return to, the last first
    to be returned to. `kept`: an answer to the question that a visit interrupted, taken on the return.
    `facts`: the plan's, asked only where the table has left them open. `since`: when a mark was set, or
    a fact ("tube is out") learned, in this bout of trouble.
    """

    known: dict[str, str] = field(default_factory=lambda: {k: v[0] for k, v in KNOWN.items()})
    marks: set[str] = field(default_factory=set)
    counts: dict[str, int] = field(default_factory=dict)
    reason: str | None = None
    back: tuple[str, ...] = ()
    since: dict[str, int] = field(default_factory=dict)
    pending: str | None = None
    kept: tuple[str, How] | None = None
    spo2: int | None = None
    spo2_at_ms: int = 0
    pulse: int | None = None
    now_ms: int = 0
    spo2_floor: float = 0.0
    number_fresh_ms: int = 60_000
    facts: Container[str] = frozenset()

    def copy(self) -> "Memory":
        """An independent copy."""
        return Memory(
            dict(self.known), set(self.marks), dict(self.counts), self.reason, self.back,
            dict(self.since), self.pending, self.kept, self.spo2, self.spo2_at_ms, self.pulse,
            self.now_ms, self.spo2_floor, self.number_fresh_ms, self.facts,
        )  # fmt: skip

    def fresh_number(self) -> bool:
        """A saturation was said recently enough to be used."""
        return self.spo2 is not None and self.now_ms - self.spo2_at_ms <= self.number_fresh_ms

    def low_number(self) -> bool:
        """The fresh saturation is under the plan's floor."""
        return self.fresh_number() and self.spo2 is not None and self.spo2 < self.spo2_floor
