"""What holds for every sequence, and for sequences from sources that are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from harness.contracts import Array, frozen
from harness.errors import InsufficientData
from harness.estimators.entropy.ceilings import ceiling, most_of_any
from harness.estimators.entropy.compression import expected_log_distance
from harness.estimators.entropy.non_iid import ESTIMATORS, non_iid
from harness.estimators.entropy.predictions import from_predictions, global_limit, local_limit

# of equals, these two take the greater symbol
BY_ORDER = {"multi-markov", "lz78y"}
BITS_ONLY = {"collision", "markov", "compression"}


def estimated(method: str, symbols: Array) -> float | None:
    try:
        return ESTIMATORS[method](symbols).value
    except InsufficientData:
        return None


def sticky(seed: int, kinds: int, n: int) -> Array:
    """Symbols that repeat the one before in half of the places."""
    rng = np.random.default_rng(seed)
    drawn = rng.integers(0, kinds, n)
    return drawn[np.maximum.accumulate(np.where(rng.random(n) < 0.5, np.arange(n), 0))]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from([2, 2, 3, 7]), st.integers(70, 800))
def test_names_of_symbols_do_not_matter(seed: int, kinds: int, n: int) -> None:
    s = sticky(seed, kinds, n)
    rng = np.random.default_rng(seed)
    names = rng.permutation(kinds)
    gaps = np.sort(rng.choice(1000, kinds, replace=False)) - 500
    for method in ESTIMATORS:
        if method in BITS_ONLY and kinds > 2:
            continue
        found = estimated(method, s)
        if method not in BY_ORDER:
            # sums of squares may be added in another order
            assert estimated(method, names[s]) == pytest.approx(found, abs=1e-12)
        if method not in BITS_ONLY:
            assert estimated(method, gaps[s]) == found


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from([2, 3, 7, 256]), st.integers(2, 800))
def test_estimates_lie_between_nothing_and_a_whole_symbol(seed: int, kinds: int, n: int) -> None:
    s = sticky(seed, kinds, n)
    found = non_iid(s, alphabet=kinds)
    for o in found.outcomes:
        assert (o.estimate is None) == (o.reason is not None)
        if o.estimate is None:
            continue
        e = o.estimate
        assert (e.unit, e.side, e.method) == ("bit/symbol", "defender-at-most", o.method)
        assert o.per_symbol == (found.bits if o.of == "bits" else 1) * e.value
        most = 1 if o.of == "bits" else math.log2(kinds)
        # the one estimate that the standard does not end at a whole symbol
        assert 0 <= e.value <= most + 1e-12 or o.method == "longest-repeated-substring"
        assert e.value >= 0
        if o.method == "most-common-value":
            assert e.low == e.value <= e.high + 1e-12
        else:  # a limit on one side, or none
            assert math.isnan(e.high)
            assert math.isnan(e.low) if o.method == "markov" else e.low == e.value
    assert len(found.outcomes) == (10 if kinds == 2 else 17)
    assert found.value == min(found.literal, math.inf if found.of_bits is None else found.of_bits)
    assert found.value <= found.ceiling + 1e-12


@pytest.mark.parametrize(("n", "kinds"), [(2, 2), (101, 2), (1000, 3), (300, 256)])
def test_the_ceiling_of_the_most_common_value_is_reached_and_never_exceeded(n: int, kinds: int) -> None:
    even = np.arange(n) % kinds
    assert ESTIMATORS["most-common-value"](even).value == pytest.approx(most_of_any(n, kinds), abs=1e-12)
    rng = np.random.default_rng(n)
    for _ in range(50):
        assert estimated("most-common-value", rng.integers(0, kinds, n)) <= most_of_any(n, kinds) + 1e-12


@pytest.mark.parametrize(("n", "kinds"), [(7000, 2), (3000, 3)])
def test_perfect_sources_come_out_about_at_the_ceilings(n: int, kinds: int) -> None:
    """About half of them above a ceiling: if .25 to .75 are, 40 draws miss the limits with odds of 1e-4."""
    rng, draws = np.random.default_rng(8), 40
    sequences = [rng.integers(0, kinds, n) for _ in range(draws)]
    low, high = binom.ppf(5e-5, draws, 0.25), binom.ppf(1 - 5e-5, draws, 0.75)
    for method in ESTIMATORS:
        if method in BITS_ONLY and kinds > 2:
            continue
        top = ceiling(method, n, kinds)
        above = sum((estimated(method, s) or 0) > (top or 0) + 1e-12 for s in sequences)
        if method in ("most-common-value", "markov"):
            assert above == 0
        else:
            assert low <= above <= high, method


def test_no_ceiling_where_the_estimator_has_no_answer() -> None:
    """Of every length up to where all have one; a median may leave the two by stretches without."""
    for n in range(2, 80):
        s = np.arange(n) % 2
        for method in ESTIMATORS:
            if method in ("t-tuple", "longest-repeated-substring"):
                continue
            assert (estimated(method, s) is None) == (ceiling(method, n, 2) is None), (method, n)
    assert ceiling("compression", 6011, 2) is None
    assert ceiling("compression", 6012, 2) is not None


@pytest.mark.parametrize("p", [1 / 16, 0.3, 0.999])
def test_the_expected_log_distance_is_the_double_sum_of_the_standard(p: float) -> None:
    """SP 800-90B (2018) section 6.3.4, step 7; the outer sum runs over blocks, not over bits."""
    initial, blocks, others = 7, 40, 15

    def chance(z: float, t: int, u: int) -> float:
        return z**2 * (1 - z) ** (u - 1) if u < t else z * (1 - z) ** (t - 1)

    def g(z: float) -> float:
        tested = range(initial + 1, blocks + 1)
        return sum(math.log2(u) * chance(z, t, u) for t in tested for u in range(1, t + 1)) / len(tested)

    expected = g(p) + others * g((1 - p) / others)
    found = expected_log_distance(p, block=4, initial=initial, blocks=blocks)
    assert found == pytest.approx(expected, rel=1e-12)


def chance_of_no_run(p: float, run: int, n: int) -> float:
    """Exactly, by how long the run at the end is."""
    state = np.zeros(run)
    state[0] = 1
    for _ in range(n):
        state = np.r_[(1 - p) * state.sum(), p * state[:-1]]
    return float(state.sum())


@pytest.mark.parametrize(("longest", "n"), [(0, 50), (1, 200), (7, 200), (19, 5000), (30, 60)])
def test_the_local_limit_makes_a_longer_run_a_one_percent_chance(longest: int, n: int) -> None:
    """Feller's approximation is far closer than a tenth of that percent."""
    p = local_limit(longest, n)
    assert chance_of_no_run(p, longest + 1, n) == pytest.approx(0.99, abs=1e-3)


def test_the_largest_of_three_limits_counts() -> None:
    """Global, local and by chance, each in turn."""
    often = np.tile([True, True, True, False], 250)
    run = np.repeat([False, True, False], [480, 40, 480])
    never = np.zeros(1000, bool)
    expected = (global_limit(750, 1000), local_limit(40, 1000), 1 / 2)
    for right, p in zip((often, run, never), expected, strict=True):
        found = from_predictions("lag", right, 2, attempts=1, subjects=1)
        assert 2**-found.value == pytest.approx(p, rel=1e-12)
    assert global_limit(0, 100) == pytest.approx(1 - 0.01 ** (1 / 100), rel=1e-12)
    assert local_limit(10, 10) == 1


@pytest.mark.parametrize(
    ("name", "symbols"),
    [
        ("every second symbol repeats", np.repeat(np.random.default_rng(1).integers(0, 2, 5000), 2)),
        ("period 100", np.resize(np.random.default_rng(1).integers(0, 2, 100), 10_000)),
        ("constant", np.ones(10_000, int)),
        ("one in twenty", (np.random.default_rng(1).random(10_000) < 0.05).astype(int)),
    ],
)
def test_weak_sources_get_no_more_than_they_hold(name: str, symbols: Array) -> None:
    """Upper ends: half a bit a symbol, one hundredth (100 fair bits in 10 000), none, -log2 .95."""
    holds = {"every second symbol repeats": 0.5, "period 100": 0.01, "constant": 0}.get(
        name, -math.log2(0.95)
    )
    found = non_iid(symbols, alphabet=2)
    assert found.value <= holds


def test_all_estimators_agree_that_a_constant_holds_nothing() -> None:
    for method, estimator in ESTIMATORS.items():
        assert estimator(np.zeros(8000, np.uint8)).value == pytest.approx(0, abs=1e-9), method


def test_read_only_and_boolean_symbols_do() -> None:
    s = np.random.default_rng(3).integers(0, 2, 7000).astype(np.uint8)
    expected = [o.per_symbol for o in non_iid(s).outcomes]
    assert [o.per_symbol for o in non_iid(frozen(s)).outcomes] == expected
    assert [o.per_symbol for o in non_iid(s.astype(bool)).outcomes] == expected
