"""How sure is sure enough: the weights and thresholds of the decision, and where they come from.

Fitted by `tests/bench/fit_decision.py` on one half of the speakers and voices (FIT there); what
the other half gives is printed by the same script and by `tests/bench/bench_hearing.py`.
"""

from prompter.events import Risk

BIAS = -3.0
WEIGHTS: dict[str, float] = {
    "evidence": 2.0,
    "margin": 1.2,
    "likeness": 1.0,
    "no_speech": -0.1,
    "free": 0.5,
}
"""Log-odds that the best phrase was said = BIAS + sum of weight x feature (decision.features)."""

LEAST: dict[Risk, float] = {"plain": 1.0, "branch": 2.0, "good": 3.0}
"""Least log-odds at which an answer of this risk is believed."""

STRICT: dict[Risk, float] = {"plain": 3.0, "branch": 4.0, "good": 5.0}
"""Log-odds at which one ear is enough although another disagrees."""

LONG_WINDOW_EXTRA = 1.0
"""Added to both where the window is longer than the shortest: answers are short, talk is long."""
