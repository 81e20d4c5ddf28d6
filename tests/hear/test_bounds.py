"""Upper bounds against published values."""

import pytest

from prompter.hear.measure.bounds import upper_bound, upper_count


def test_against_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.2: 4 defective of 20, two-sided 90%
    (so 5% on each side): upper limit 0.401029."""
    assert upper_bound(4, 20) == pytest.approx(0.401029, abs=1e-6)


@pytest.mark.parametrize(("failures", "n"), [(0, 59), (1, 93), (2, 124), (3, 153), (4, 181)])
def test_against_the_sample_sizes_of_95_95_acceptance(failures: int, n: int) -> None:
    """Least n that shows at most 5% with 95% confidence (after S. S. Wilks 1941; the sizes are used
    in reactor licensing; from memory)."""
    assert upper_bound(failures, n) <= 0.05 < upper_bound(failures, n - 1)


@pytest.mark.parametrize("n", [30, 100, 287, 1500])
def test_against_the_rule_of_three(n: int) -> None:
    """J. A. Hanley, A. Lippman-Hand, JAMA 249 (1983) 1743: none of n shows at most about 3/n."""
    assert 0.93 * 3 / n < upper_bound(0, n) < 3 / n


@pytest.mark.parametrize(
    ("count", "chi_square"), [(0, 5.991), (1, 9.488), (2, 12.592), (4, 18.307), (9, 31.410)]
)
def test_counts_in_time_against_the_chi_square_table(count: int, chi_square: float) -> None:
    """Half the 95% point at 2(count + 1) degrees of freedom (NIST e-Handbook, table 1.3.6.7.4)."""
    assert upper_count(count) == pytest.approx(chi_square / 2, abs=5e-4)


def test_edges() -> None:
    assert upper_bound(0, 0) == upper_bound(5, 5) == 1.0
    assert upper_bound(0, 1) == pytest.approx(0.95)
    assert 0.0 < upper_bound(40, 100_000) < 0.001  # no overflow where n is large
