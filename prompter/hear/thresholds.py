"""How sure is sure enough: the weights and thresholds of the decision, and where they come from.

Fitted by `tests/bench/fit_decision.py` on one half of the speakers and voices (FIT there); what
the other half gives is printed by the same script and by `tests/bench/bench_hearing.py`.
"""

from prompter.events import Risk

FIRST_LOOK: dict[str, float] = {
    "mean": 2.04, "silent": -1.63, "tokens": -0.29, "least": 0.17, "like": 1.37, "like_first": 1.31,
    "decoy": -3.44, "denial": -1.0,
    "none": -0.36, "none_free": -0.09, "none_length": 0.63, "none_long": 0.23,
}  # fmt: skip
CLOSER_LOOK: dict[str, float] = {
    "mean": 0.85, "silent": -2.06, "tokens": -0.17, "least": 0.09, "like": 1.0, "like_first": 0.77,
    "longer": 2.15, "decoy": -3.7, "denial": -1.0,
    "none": -0.65, "none_free": 0.08, "none_length": -0.06, "none_long": 0.53,
}  # fmt: skip
FIRST_LOOK_BOTH: dict[str, float] = {
    "mean": 1.14, "silent": -1.42, "tokens": -0.34, "least": 0.18, "like_first": 0.83,
    "other_mean": 1.96, "other_silent": -1.26, "other_tokens": 0.22, "other_least": 0.05, "other_like": -0.77,
    "decoy": -2.79, "denial": -1.0,
    "none": 0.82, "none_free": 0.08, "none_length": -0.29, "none_long": 0.05, "none_other_free": -0.61,
}  # fmt: skip
CLOSER_LOOK_BOTH: dict[str, float] = {
    "mean": 1.67, "silent": -1.86, "tokens": 0.16, "least": 0.0, "like_first": 1.07,
    "other_mean": 0.95, "other_silent": -1.59, "other_tokens": -0.11, "other_least": 0.04, "other_like": -1.2,
    "other_again": 2.31, "decoy": -3.18, "denial": -1.0,
    "none": 0.67, "none_free": 0.01, "none_length": 0.35, "none_long": 0.02, "none_other_free": -0.08,
}  # fmt: skip
"""What each clue weighs (`clues.py`), with one model, and with both. A denial's weight is set, not fitted: a decoy as such is seldom
said where an answer is asked for, but who denies an answer must not be heard as giving it."""

LEAST: dict[Risk, float] = {"plain": 1.0, "branch": 2.0, "good": 2.5}
"""Least log-odds at which an answer of this risk is believed. At 1.5, of 1,302 answers by the fit
half (half of them in noise at 5 dB or less) 82.5% were believed and 3 taken for another; of 584 sounds
that held no allowed answer, most of them near to one, 9 were. At 1.0 it is 84.6%, 3 and 12: a wrong
branch weighs more than a question asked again. With both models, of 1,990 and 860 others in the same surroundings, 1.5
for what leads another way gives 90.4%, 3 and 7, and 2.0 gives 89.3%, 0 and 4."""

STRICT: dict[Risk, float] = {"plain": 2.5, "branch": 3.5, "good": 4.5}
"""Log-odds at which one ear is enough although another disagrees."""

NEGATION_SURE = 5.0
"""Log-odds at which 'won't go in' is believed although the free decode lost its 'not'."""

DENIAL_MARGIN = 0.15
"""Evidence by which a wording must lead each form that denies it. One voice's 'not going up' leads by
0.3 where the free decode is "that's going up"; refusing them asks 1 answer in 100 again."""

ON_SPEAKER_EXTRA = 1.0
"""Added while a telephone is on speaker: whoever talks there is not asked anything, and talks a lot."""

NOISY_EXTRA = 2.0
"""Added where the utterance rises above the room by no more than NOISY_DB; less and less up to QUIET_ENOUGH_DB.
Of 1,500 answers each by the fit half (`bench_hearing.py --half fit`): hiss at 0 dB 815 right and 20 wrong become 621
and 3, motor at 0 dB 887 and 10 become 776 and 5, hiss at 5 dB 1,108 and 3 become 1,038 and 2, crying at 5 dB
1,321 and 3 become 1,312 and 1, and clean ones stay."""

NOISY_DB, QUIET_ENOUGH_DB = 4.0, 12.0
"""By how much an utterance rises above the room (`clearness.py`)."""

LONG_WINDOW_EXTRA = 1.0
"""Added where the window is longer than the shortest: answers are short, talk is long."""

NUMBER_WEIGHTS = (-0.63, 1.74, 1.39)
"""Log-odds that a number was said: a constant, weights of its evidence and of its margin in evidence."""

NUMBER_MARGIN_MAX = 4.0
"""A wider margin says no more."""

NUMBER_LEAST = (1.0, 4.0)
"""Least log-odds of a number that the free decode says as well, and of another. Of 685 numbers by the fit
half, quiet to crying at 5 dB, 73 of the second sort were right at 1.7, with 4.2 or more but for two, and one
wrong, 95 taken for 75 with 2.4: what no model wrote down must at least sound like a number through and through."""

NUMBER_READ_BACK = (1.0, 0.1)
"""Least log-odds that it is a number, and least evidence by which it leads every other, for one in doubt to be
read back. Of 389 in doubt by the fit half 296 right and 53 wrong ones were read back with a log-odds of 0 alone,
and 274 and 32 with these. Said a second time, by the same voice a little faster or slower, 9 wrong ones were
heard the same again, and 4 are with these (154 and 134 right ones)."""

NUMBER_MARGIN, NUMBER_MARGIN_UNTOLD = 0.3, 1.0
"""Evidence by which a number must lead every other value: 85 taken for 95 misleads. The first where
the free decode says the same number. Of 279 saturations by eight voices (quiet to crying at 5 dB) 135
were decoded so and none of them ranked wrong; of the others 19 ranked wrong, by a lead of 0.68 at most.
A teen for a ten (114, 140) was told at 1.0 as well, so it needs both."""


def extra_in_noise(rises_db: float) -> float:
    """What belief needs more where an utterance rises so little above the room."""
    share = (QUIET_ENOUGH_DB - rises_db) / (QUIET_ENOUGH_DB - NOISY_DB)
    return NOISY_EXTRA * min(1.0, max(0.0, share))
