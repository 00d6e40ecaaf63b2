"""Chi-square and longest-repeat tests, restarts and health cutoffs: by definition, and what they refuse."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import binom, chi2

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.chi_square import binned, goodness_of_fit, independence
from harness.estimators.entropy.health import (
    adaptive_proportion_cutoff,
    cutoffs,
    repetition_count_cutoff,
)
from harness.estimators.entropy.iid import iid_assessment, longest_repeat, repeat_chance
from harness.estimators.entropy.restart import common_counts, restart_test, sanity_cutoff
from harness.streams import stream


def most_common(symbols: Array) -> float:
    return -math.log2(np.bincount(symbols).max() / symbols.size)


@given(st.lists(st.floats(0.01, 20), min_size=1, max_size=40))
def test_bins_expect_five_and_take_the_rarest_first(expected: list[float]) -> None:
    values = np.array(expected)
    bins, expects = binned(values)
    assert expects.sum() == pytest.approx(values.sum())
    assert len(expects) == 1 or expects.min() >= 5
    assert bins.max() == len(expects) - 1
    for first, second in combinations(range(len(expected)), 2):
        if values[first] < values[second]:
            assert bins[first] <= bins[second]
    # no bin but the last could have ended before its last category
    for number in range(len(expects) - 1):
        own = np.sort(values[bins == number])
        assert own[:-1].sum() < 5


def test_independence_of_three_symbols_by_hand() -> None:
    symbols = stream(0, "three").choice(3, 401, p=[0.5, 0.3, 0.2])
    share = [float(np.mean(symbols == k)) for k in range(3)]
    pairs = list(zip(symbols[0:400:2].tolist(), symbols[1:400:2].tolist(), strict=True))
    statistic = sum(
        (pairs.count((a, b)) - 200 * share[a] * share[b]) ** 2 / (200 * share[a] * share[b])
        for a in range(3)
        for b in range(3)
    )
    assert 200 * min(share) ** 2 >= 5  # every pair has a bin of its own
    found = independence(symbols)
    assert found.statistic == pytest.approx(statistic)
    assert found.degrees == found.published_degrees == 6
    assert found.p_value == found.published_p_value == pytest.approx(chi2.sf(statistic, 6))


def test_one_degree_of_freedom_is_enough() -> None:
    """Of 27 pairs the nine kinds share four bins, one more than there are symbols."""
    symbols = np.tile([0, 0, 0, 1, 1, 2], 9)
    share = np.array([1 / 2, 1 / 3, 1 / 6])
    assert len(binned(np.outer(share, share).ravel() * 27)[1]) == 4
    assert independence(symbols).published_degrees == 1
    with pytest.raises(InsufficientData, match="3 bins of pairs"):
        independence(symbols[:42])


def test_independence_of_bits_by_hand() -> None:
    bits = stream(0, "bits").integers(0, 2, 2000)
    one = bits.mean()
    m = max(m for m in range(2, 12) if min(one, 1 - one) ** m * (2000 // m) >= 5)
    n = 2000 // m
    words = ["".join(map(str, w)) for w in bits[: n * m].reshape(n, m)]
    statistic = 0.0
    for code in range(2**m):
        word = format(code, f"0{m}b")
        expects = n * one ** word.count("1") * (1 - one) ** word.count("0")
        statistic += (words.count(word) - expects) ** 2 / expects
    found = independence(bits)
    assert found.statistic == pytest.approx(statistic)
    assert found.degrees == 2**m - 2


def test_tuples_have_eleven_bits_at_most() -> None:
    assert independence(stream(0, "long").integers(0, 2, 200_000)).degrees == 2**11 - 2


def test_shared_bins_spend_less_than_the_published_degrees() -> None:
    """The published number of degrees rejects independent bytes in most sequences of this length."""
    published, own = [], []
    for i in range(24):
        found = independence(stream(1, "bytes", i).integers(0, 256, 20_000))
        published.append(found.published_p_value < 0.001)
        own.append(found.p_value < 0.001)
        assert found.published_degrees < found.degrees
    # measured: .60 of 600 sequences by the published number, none by the other
    assert sum(published) >= binom.ppf(1e-4, 24, 0.6)
    assert sum(own) <= binom.isf(1e-4, 24, 0.001)


@pytest.mark.parametrize("kinds", [2, 5])
def test_goodness_of_fit_by_hand(kinds: int) -> None:
    symbols = stream(2, "fit", kinds).integers(0, kinds, 503)
    parts = symbols[:500].reshape(10, 50)
    counts = np.array([[np.sum(part == k) for k in range(kinds)] for part in parts])
    expects = counts.sum(axis=0) / 10
    found = goodness_of_fit(symbols)
    assert found.statistic == pytest.approx(((counts - expects) ** 2 / expects).sum())
    assert found.degrees == 9 * (kinds - 1)


@pytest.mark.parametrize("relabel", [lambda s: 255 - s * 7, lambda s: s * 11 + 3])
@pytest.mark.parametrize("test", [independence, goodness_of_fit])
def test_names_of_symbols_do_not_matter(
    test: Callable[[Array], object], relabel: Callable[[Array], Array]
) -> None:
    # long enough that no two pairs share a bin: ties among rare pairs go by the order of names
    symbols = stream(3, "names").choice(4, 2001, p=[0.4, 0.3, 0.2, 0.1])
    first, second = test(symbols), test(relabel(symbols))
    assert first.p_value == pytest.approx(second.p_value)


def test_sources_that_depend_or_drift_are_rejected() -> None:
    rng = stream(4, "sources")
    sticky = np.cumsum(rng.integers(0, 3, 3000) * (rng.random(3000) > 0.4)) % 3
    assert independence(sticky).rejected
    drifting = (rng.random(3000) < np.linspace(0.3, 0.7, 3000)).astype(int)
    assert goodness_of_fit(drifting).rejected
    repeated = np.concatenate([rng.integers(0, 4, 1500)] * 2)
    length, chance = repeat_chance(repeated)
    assert length >= 1500
    assert chance < 1e-100


@given(st.lists(st.integers(0, 3), min_size=1, max_size=40))
def test_the_longest_repeat_by_trying_all(symbols: list[int]) -> None:
    n = len(symbols)
    longest = max(
        (w for w in range(1, n) for i in range(n - w) if symbols[i : i + w] in all_from(symbols, i + 1, w)),
        default=0,
    )
    assert longest_repeat(np.array(symbols)) == longest


def all_from(symbols: list[int], start: int, width: int) -> list[list[int]]:
    return [symbols[i : i + width] for i in range(start, len(symbols) - width + 1)]


def test_the_chance_of_a_repeat_by_its_formula() -> None:
    symbols = stream(5, "repeat").integers(0, 8, 300)
    length, chance = repeat_chance(symbols)
    share = np.bincount(symbols) / 300
    pairs = math.comb(301 - length, 2)
    assert chance == pytest.approx(1 - (1 - float((share**2).sum()) ** length) ** pairs, rel=1e-9)


def test_an_assessment_says_what_rejects_and_what_it_could_not_test() -> None:
    rng = stream(6, "assessment")
    sound = iid_assessment(rng.integers(0, 2, 600), rng=rng, permutations=2000)
    assert sound.outcome == "not rejected"
    assert sound.rejecting == sound.untested == ()
    sticky = iid_assessment(np.cumsum(rng.random(600) < 0.2) % 2, rng=rng, permutations=2000)
    assert sticky.outcome == "rejected"
    assert {"median-runs", "independence"} <= set(sticky.rejecting)
    short = iid_assessment(rng.integers(0, 200, 60), rng=rng, permutations=2000)
    assert short.outcome == "undecided"
    assert set(short.untested) == {"independence", "goodness-of-fit"}
    assert all(t.reason for t in short.tests if t.rejected is None)
    constant = iid_assessment(np.zeros(60, int), rng=rng, permutations=2000)
    assert constant.outcome == "undecided"


@pytest.mark.parametrize("test", [independence, goodness_of_fit, repeat_chance])
@pytest.mark.parametrize(
    ("symbols", "error", "says"),
    [
        (np.zeros(0, int), InsufficientData, "two symbols that occur, got 0"),
        (np.full(100, 3), InsufficientData, "two symbols that occur, got 1"),
        (np.array([0.5, 1.0]), ValueError, "whole numbers"),
        (np.zeros((3, 3), int), ValueError, "shape"),
    ],
)
def test_bad_symbols_are_refused(
    test: Callable[[Array], object], symbols: Array, error: type[Exception], says: str
) -> None:
    with pytest.raises(error, match=says):
        test(symbols)


def test_what_is_too_short_says_what_it_lacks() -> None:
    with pytest.raises(InsufficientData, match="twice in a row"):
        independence(np.arange(30) % 2)
    with pytest.raises(InsufficientData, match="more bins than symbols, got 10 bins"):
        independence(np.arange(100) % 20)
    with pytest.raises(InsufficientData, match="two bins"):
        goodness_of_fit(np.arange(60) % 2)
    with pytest.raises(InsufficientData, match="occurs twice"):
        repeat_chance(np.arange(30))


# restarts


def test_rows_and_columns_of_restarts() -> None:
    matrix = np.array([[0, 1, 1, 1], [0, 1, 2, 0], [0, 2, 1, 2]])
    assert common_counts(matrix) == (3, 3)
    found = restart_test(matrix, initial=1.0, estimate=most_common)
    assert (found.restarts, found.symbols) == (3, 4)
    assert found.row == found.column == pytest.approx(-math.log2(5 / 12))
    assert not found.full_size
    assert "analogue" in found.remark
    assert found.value == 1.0
    assert found.passed


def test_the_order_of_rows_and_columns_reaches_the_estimate() -> None:
    seen: list[list[int]] = []

    def estimate(symbols: Array) -> float:
        seen.append(symbols.tolist())
        return float(len(seen))

    found = restart_test(np.array([[0, 1], [2, 3], [4, 5]]), initial=9.0, estimate=estimate)
    assert seen == [[0, 1, 2, 3, 4, 5], [0, 2, 4, 1, 3, 5]]
    assert (found.row, found.column, found.value) == (1.0, 2.0, 1.0)
    assert found.halved
    assert not found.passed


def test_a_full_matrix_is_the_standards_test() -> None:
    matrix = stream(7, "full").integers(0, 2, (1000, 1000))
    found = restart_test(matrix, initial=0.99, estimate=most_common)
    assert found.full_size
    assert "analogue" not in found.remark
    assert found.passed


def test_restarts_that_begin_alike_are_refused() -> None:
    matrix = stream(8, "alike").integers(0, 2, (200, 100))
    matrix[:, 0] = 1
    found = restart_test(matrix, initial=0.9, estimate=most_common)
    assert found.column_count == 200
    assert not found.sane
    assert not found.passed


@pytest.mark.parametrize("entropy", [0.3, 1.0, 7.5])
@pytest.mark.parametrize("alphabet", [2, 256])
def test_the_cutoff_is_the_least_that_keeps_the_level(entropy: float, alphabet: int) -> None:
    cutoff = sanity_cutoff(1000, entropy, tests=2000, alphabet=alphabet)
    level = 0.01 / (2000 * alphabet)
    assert binom.sf(cutoff, 1000, 2**-entropy) <= level < binom.sf(cutoff - 1, 1000, 2**-entropy)


def test_no_entropy_cannot_be_refused() -> None:
    assert sanity_cutoff(50, 0.0, tests=100, alphabet=2) == 50
    found = restart_test(np.zeros((5, 6), int), initial=0.0, estimate=lambda s: 0.0)
    assert found.passed


@pytest.mark.parametrize(
    ("matrix", "initial", "error", "says"),
    [
        (np.zeros(5, int), 1.0, ValueError, "restarts, symbols"),
        (np.zeros((5, 5)), 1.0, ValueError, "whole numbers"),
        (np.zeros((1, 5), int), 1.0, InsufficientData, "got 1 of 5"),
        (np.zeros((5, 1), int), 1.0, InsufficientData, "got 5 of 1"),
        (np.zeros((5, 5), int), -0.5, ValueError, "at least 0"),
        (np.zeros((5, 5), int), math.nan, ValueError, "at least 0"),
    ],
)
def test_bad_restarts_are_refused(matrix: Array, initial: float, error: type[Exception], says: str) -> None:
    with pytest.raises(error, match=says):
        restart_test(matrix, initial=initial, estimate=lambda s: 1.0)


def test_a_bad_cutoff_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        sanity_cutoff(0, 1.0, tests=1, alphabet=2)


# health


@given(st.floats(0.05, 8), st.sampled_from([512, 1024]))
def test_the_proportion_cutoff_is_the_least_that_keeps_false_alarms(entropy: float, window: int) -> None:
    cutoff = adaptive_proportion_cutoff(entropy, window=window)
    p = 2.0**-entropy
    assert binom.sf(cutoff - 1, window, p) <= 2.0**-20 * (1 + 1e-6)
    assert cutoff == 1 or binom.sf(cutoff - 2, window, p) > 2.0**-20 * (1 - 1e-6)


@given(st.floats(0.01, 8))
def test_the_repetition_cutoff_is_the_least_that_keeps_false_alarms(entropy: float) -> None:
    assume(abs(20 / entropy - round(20 / entropy)) > 1e-9)
    repeats = repetition_count_cutoff(entropy) - 1
    assert 2.0 ** (-entropy * repeats) <= 2.0**-20 < 2.0 ** (-entropy * (repeats - 1))


def test_less_entropy_asks_for_more_before_an_alarm() -> None:
    found = [cutoffs(h, binary=True) for h in (0.1, 0.5, 1.0)]
    assert found[0].repetition_count > found[1].repetition_count > found[2].repetition_count
    assert found[1].adaptive_proportion is not None
    assert found[2].adaptive_proportion is not None
    assert found[1].adaptive_proportion > found[2].adaptive_proportion
    assert found[0].window == 1024
    assert cutoffs(1.0, binary=False).window == 512


def test_a_window_that_could_never_alarm_says_so() -> None:
    assert cutoffs(1e-3, binary=False).adaptive_proportion is None


@pytest.mark.parametrize("entropy", [0.0, -1.0, math.nan, math.inf])
def test_no_entropy_has_no_cutoff(entropy: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        repetition_count_cutoff(entropy)
    with pytest.raises(ValueError, match="above 0"):
        adaptive_proportion_cutoff(entropy, window=512)


def test_bad_health_arguments_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        repetition_count_cutoff(1.0, alpha=1.0)
    with pytest.raises(ValueError, match="at least 1"):
        adaptive_proportion_cutoff(1.0, window=0)
