"""How sure is sure enough: the weights and thresholds of the decision, and where they come from.

Fitted by `tests/bench/fit_decision.py` on one half of the speakers and voices (FIT there); what
the other half gives is printed by the same script and by `tests/bench/bench_hearing.py`.
"""

from prompter.events import Risk

BIAS = -0.63
WEIGHTS: dict[str, float] = {"evidence": 1.74, "margin": 1.39}
"""Log-odds that the best phrase was said = BIAS + sum of weight x feature (decision.features)."""

MARGIN_MAX = 4.0
"""A wider margin says no more."""

LEAST: dict[Risk, float] = {"plain": 1.0, "branch": 1.7, "good": 3.0}
"""Least log-odds at which an answer of this risk is believed. Of 1,780 sounds that held another
answer or none (4 voices and other people, clean to 5 dB of noise), 25, 12 and 6 lie above."""

STRICT: dict[Risk, float] = {"plain": 2.5, "branch": 3.5, "good": 4.5}
"""Log-odds at which one ear is enough although another disagrees."""

NEGATION_SURE = 5.0
"""Log-odds at which 'won't go in' is believed although the free decode lost its 'not'. Heard as
'won't pass' and the like, 'pass', 'rise', 'air', 'change', 'response' and 'wake up' reach 3.6."""

LONG_WINDOW_EXTRA = 1.0
"""Added where the window is longer than the shortest: answers are short, talk is long."""

NUMBER_MARGIN, NUMBER_MARGIN_UNTOLD = 0.3, 1.0
"""Evidence by which a number must lead every other value: 85 taken for 95 misleads. The first where
the free decode says the same number. Of 279 saturations by eight voices (quiet to crying at 5 dB) 135
were decoded so and none of them ranked wrong; of the others 19 ranked wrong, by a lead of 0.68 at most.
A teen for a ten (114, 140) was told at 1.0 as well, so it needs both."""
