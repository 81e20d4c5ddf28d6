"""Medians, percentiles and shares with their 95% intervals, so that nobody reads noise as a result."""

from dataclasses import dataclass
from math import ceil, floor, sqrt

Z = 1.96


@dataclass(frozen=True, slots=True)
class Estimate:
    """`low` to `high`: 95% interval. `n`: how many values it rests on."""

    value: float | None
    low: float | None
    high: float | None
    n: int

    def record(self) -> dict[str, float | int | None]:
        def rounded(value: float | None) -> float | None:
            return None if value is None else round(value, 4)

        return {"value": rounded(self.value), "low": rounded(self.low), "high": rounded(self.high), "n": self.n}


def quantile(values: list[float], share: float) -> Estimate:
    """The value below which `share` of them lie, its interval by order statistics (normal approximation)."""
    ordered, n = sorted(values), len(values)
    if n == 0:
        return Estimate(None, None, None, 0)
    spread = Z * sqrt(n * share * (1 - share))
    low, high = max(0, floor(n * share - spread) - 1), min(n - 1, ceil(n * share + spread))
    return Estimate(ordered[min(n - 1, max(0, ceil(n * share) - 1))], ordered[low], ordered[high], n)


def share(hits: int, n: int) -> Estimate:
    """A share with Wilson's interval (J Am Stat Assoc 1927;22:209)."""
    if n == 0:
        return Estimate(None, None, None, 0)
    p, z2 = hits / n, Z * Z
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z / (1 + z2 / n) * sqrt(p * (1 - p) / n + z2 / (4 * n * n))
    return Estimate(p, max(0.0, middle - half), min(1.0, middle + half), n)
