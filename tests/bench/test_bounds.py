"""Upper bounds against published tables."""

import pytest
from bounds import quartiles, upper_rate, upper_share


def test_none_of_n_has_a_closed_form() -> None:
    # Hanley and Lippman-Hand, JAMA 1983;249:1743 ("if nothing goes wrong"): 1 - 0.05^(1/n).
    for n in (20, 287, 1500):
        assert upper_share(0, n) == pytest.approx(1 - 0.05 ** (1 / n), rel=1e-6)


def test_shares_agree_with_the_beta_distribution() -> None:
    # Clopper and Pearson's bound is the 95% quantile of Beta(count + 1, n - count); these by
    # scipy.stats.beta.ppf 1.17.
    for count, n, bound in ((1, 10, 0.394163), (3, 100, 0.075711), (5, 1500, 0.006996)):
        assert upper_share(count, n) == pytest.approx(bound, abs=2e-6)


def test_all_wrong_or_nothing_tried_shows_nothing() -> None:
    assert upper_share(7, 7) == 1.0
    assert upper_share(0, 0) == 1.0


def test_rates_agree_with_tables_of_the_poisson_distribution() -> None:
    # One-sided 95% limits for 0, 1, 2, 5 events: Garwood, Biometrika 1936;28:437.
    for count, most in ((0, 2.9957), (1, 4.7439), (2, 6.2958), (5, 10.5130)):
        assert upper_rate(count, 1.0) == pytest.approx(most, abs=1e-4)
    assert upper_rate(2, 3.0) == pytest.approx(6.2958 / 3, abs=1e-4)


def test_quartiles_of_one_to_hundred() -> None:
    assert quartiles(range(1, 101)) == {"p50": 50, "p95": 95, "n": 100}
    assert quartiles([])["n"] == 0
