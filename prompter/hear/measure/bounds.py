"""How large a share may be, given what was counted: exact one-sided 95% upper bounds."""

from collections.abc import Callable
from math import exp, lgamma, log

_RISK = 0.05


def upper_bound(count: int, n: int) -> float:
    """Largest share at which `count` or fewer of `n` still happen in 5% of tries.

    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404. 1.0 where nothing was tried.
    """
    if n <= 0 or count >= n:
        return 1.0
    choices = [lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1) for k in range(count + 1)]

    def chance(share: float) -> float:
        yes, no = log(share), log(1 - share)
        return sum(exp(ways + k * yes + (n - k) * no) for k, ways in enumerate(choices))

    return _where_it_falls_to_risk(chance, count / n, 1.0)


def upper_count(count: int) -> float:
    """Largest expected count at which `count` or fewer still happen in 5% of tries.

    F. Garwood, Biometrika 28 (1936) 437; for events in time, such as answers out of noise.
    """

    def chance(expected: float) -> float:
        return sum(exp(k * log(expected) - expected - lgamma(k + 1)) for k in range(count + 1))

    return _where_it_falls_to_risk(chance, float(count), 2.0 * count + 10.0)


def _where_it_falls_to_risk(chance: Callable[[float], float], low: float, high: float) -> float:
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle) > _RISK else (low, middle)
    return high
