"""How likely a recogniser's model finds a wording in a sound."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Likely:
    """Log probability of a wording: of all its `tokens` together, and of the least likely one."""

    total: float
    tokens: int
    least: float

    @property
    def mean(self) -> float:
        return self.total / self.tokens
