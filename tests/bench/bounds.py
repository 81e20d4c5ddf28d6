"""What a count can show: one-sided 95% upper bounds, and quartiles of times."""

from collections.abc import Callable, Sequence
from math import exp, lgamma, log, log1p

import numpy as np

BEYOND = 0.05
"""Chance that the true value lies above the bound."""


def upper_share(count: int, n: int) -> float:
    """Upper bound of a share, `count` of `n` seen (Clopper and Pearson, Biometrika 1934;26:404)."""
    if n == 0 or count >= n:
        return 1.0
    return _where(lambda p: _binomial_tail(count, n, p), count / n, 1.0)


def upper_rate(count: int, hours: float) -> float:
    """Upper bound of a rate an hour, `count` seen in `hours` (Garwood, Biometrika 1936;28:437)."""
    if hours <= 0:
        return float("inf")
    most = _where(lambda mean: _poisson_tail(count, mean), count, 10.0 + 4.0 * count)
    return most / hours


def _where(tail: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling tail crosses BEYOND, by bisection."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if tail(middle) > BEYOND else (low, middle)
    return high


def _binomial_tail(count: int, n: int, p: float) -> float:
    """P(at most `count` of `n`). In logarithms: the coefficients overflow a float."""
    logs = (
        lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1) + k * log(p) + (n - k) * log1p(-p)
        for k in range(count + 1)
    )
    return sum(exp(x) for x in logs) if 0 < p < 1 else float(p <= 0)


def _poisson_tail(count: int, mean: float) -> float:
    if mean <= 0:
        return 1.0
    return sum(exp(k * log(mean) - mean - lgamma(k + 1)) for k in range(count + 1))


def quartiles(values: Sequence[float]) -> dict[str, int]:
    """Median and 95th percentile, rounded, with their n; zeros without values."""
    if not len(values):
        return {"p50": 0, "p95": 0, "n": 0}
    p50, p95 = np.percentile(values, [50, 95])
    return {"p50": round(float(p50)), "p95": round(float(p95)), "n": len(values)}
