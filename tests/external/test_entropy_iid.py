"""Published values of the independence track, the restart test and the health tests.

NIST SP 800-90B (2018): the examples of the statistics in §5.1.1–5.1.10 are as remembered from the text;
the cutoffs of §4.4 are recomputed in exact arithmetic from its definition.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
import statsmodels.stats.proportion as sm_proportion
from scipy.stats import chi2_contingency, chisquare

from harness.estimators.entropy.chi_square import goodness_of_fit, independence
from harness.estimators.entropy.health import adaptive_proportion_cutoff, repetition_count_cutoff
from harness.estimators.entropy.permutation_statistics import (
    block_ones,
    block_values,
    order_statistics,
)
from harness.estimators.entropy.restart import sanity_cutoff
from harness.streams import stream

DIRECTIONS = [2, 2, 2, 5, 7, 7, 9, 3, 1, 4, 4]
MEDIANS = [5, 15, 12, 1, 13, 9, 4]
COLLISIONS = [2, 1, 1, 2, 0, 1, 0, 1, 1, 2]


@pytest.mark.parametrize(
    ("name", "sequence", "value"),
    [
        ("excursion", [2, 15, 4, 10, 9], 6 * 5),  # §5.1.1: 6, here times the length
        ("directional-runs", DIRECTIONS, 3),  # §5.1.2
        ("longest-directional-run", DIRECTIONS, 6),  # §5.1.3
        ("increases-or-decreases", DIRECTIONS, 8),  # §5.1.4
        ("median-runs", MEDIANS, 5),  # §5.1.5
        ("longest-median-run", MEDIANS, 2),  # §5.1.6
        ("average-collision", COLLISIONS, 3),  # §5.1.7
        ("longest-collision", COLLISIONS, 4),  # §5.1.8
        ("periodicity-2", [2, 1, 2, 1, 0, 1, 0, 1, 1, 2], 5),  # §5.1.9
        ("covariance-2", [5, 2, 6, 10, 12, 3, 1], 164),  # §5.1.10
    ],
)
def test_examples_of_the_statistics(name: str, sequence: list[int], value: float) -> None:
    found = order_statistics(
        np.array([sequence], np.uint8), binary=False, middle=float(np.median(sequence)), names=[name]
    )
    assert found[name][0] == value


def test_example_of_the_conversions_of_bits() -> None:
    """§5.1: both conversions of one sequence of twenty bits."""
    bits = np.array([[1, 0, 0, 0, 1, 1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 1, 0, 0, 1, 1]])
    assert block_ones(bits).tolist() == [[4, 6, 2]]
    assert block_values(bits).tolist() == [[142, 219, 48]]


@pytest.mark.parametrize(
    ("window", "entropy", "cutoff"),
    [
        (1024, 0.2, 941),
        (1024, 0.4, 840),
        (1024, 0.6, 748),
        (1024, 0.8, 664),
        (1024, 1.0, 589),
        (512, 0.5, 410),
        (512, 1.0, 311),
        (512, 2.0, 177),
        (512, 4.0, 62),
        (512, 8.0, 13),
    ],
)
def test_cutoffs_of_the_adaptive_proportion(window: int, entropy: float, cutoff: int) -> None:
    """§4.4.2 at a false alarm of 2**-20; and the tail of the binomial distribution by mpmath."""
    assert adaptive_proportion_cutoff(entropy, window=window) == cutoff
    with mpmath.workdps(60):
        p = mpmath.mpf(2) ** -mpmath.mpf(entropy)

        def at_least(count: int) -> mpmath.mpf:
            return mpmath.fsum(
                mpmath.binomial(window, k) * p**k * (1 - p) ** (window - k)
                for k in range(count, window + 1)
            )

        assert at_least(cutoff) <= mpmath.mpf(2) ** -20 < at_least(cutoff - 1)


def test_cutoff_of_the_repetition_count() -> None:
    """§4.4.1: two bits a symbol, at a false alarm of 2**-20."""
    assert repetition_count_cutoff(2.0) == 11


def test_the_restart_cutoff_in_exact_arithmetic() -> None:
    """§3.1.4.3 at 1000 restarts of 1000 bits, one bit each: the binomial tail by mpmath."""
    cutoff = sanity_cutoff(1000, 1.0, tests=2000, alphabet=2)
    with mpmath.workdps(400):

        def above(count: int) -> mpmath.mpf:
            ways = mpmath.fsum(mpmath.binomial(1000, k) for k in range(count + 1, 1001))
            return ways / mpmath.mpf(2) ** 1000

        assert above(cutoff) <= mpmath.mpf("0.01") / 4000 < above(cutoff - 1)


def test_goodness_of_fit_of_bits_is_the_test_of_equal_proportions() -> None:
    """statsmodels: chi-square test of ten proportions against their common one."""
    bits = stream(0, "external").integers(0, 2, 1000)
    ones = bits.reshape(10, 100).sum(axis=1)
    statistic, p_value, _ = sm_proportion.proportions_chisquare(ones, np.full(10, 100))
    found = goodness_of_fit(bits)
    assert found.statistic == pytest.approx(statistic)
    assert found.p_value == pytest.approx(p_value)


def test_goodness_of_fit_is_the_test_of_a_contingency_table() -> None:
    """scipy: independence of the tenth and the symbol, where every symbol has a bin of its own."""
    symbols = stream(1, "external").choice(4, 2000, p=[0.4, 0.3, 0.2, 0.1])
    table = [np.bincount(part, minlength=4) for part in symbols.reshape(10, 200)]
    expected = chi2_contingency(table)
    found = goodness_of_fit(symbols)
    assert found.statistic == pytest.approx(expected.statistic)
    assert found.p_value == pytest.approx(expected.pvalue)
    assert found.degrees == expected.dof


def test_independence_is_the_test_of_pairs_with_fitted_shares() -> None:
    """scipy: goodness of fit of the nine pairs, two degrees spent on the shares."""
    symbols = stream(2, "external").choice(3, 1000, p=[0.5, 0.3, 0.2])
    seen = np.bincount(symbols[::2] * 3 + symbols[1::2], minlength=9)
    share = np.bincount(symbols) / 1000
    expected = chisquare(seen, 500 * np.outer(share, share).ravel(), ddof=2)
    found = independence(symbols)
    assert found.statistic == pytest.approx(expected.statistic)
    assert found.p_value == pytest.approx(expected.pvalue)
