"""Discrete leakage: bounds, invariance, data processing, bad input."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from harness.errors import InsufficientData
from harness.estimators.leakage.channel import (
    channel_information,
    gaussian_shift_information,
    min_entropy_leakage,
)
from harness.estimators.leakage.detection import detectable_information
from harness.estimators.leakage.discrete import (
    information_limit,
    joint_counts,
    min_entropy_leakage_limits,
    plug_in_information,
    symmetric_information_limit,
)
from harness.estimators.leakage.region import corners, most_information, region, shannon

SEEDS = st.integers(0, 2**32 - 1)
COUNTS = st.lists(st.integers(0, 40), min_size=4, max_size=4).map(lambda c: np.array(c).reshape(2, 2))
FAIR = np.array([0.5, 0.5])


@given(SEEDS)
def test_garbling_a_view_tells_no_more_and_renaming_it_the_same(seed: int) -> None:
    rng = np.random.default_rng(seed)
    prior, channel = rng.dirichlet(np.ones(3)), rng.dirichlet(np.ones(4), 3)
    garbling = rng.dirichlet(np.ones(5), 4)
    for measure in (channel_information, min_entropy_leakage):
        told = measure(channel, prior)
        assert measure(channel @ garbling, prior) <= told + 1e-9
        assert measure(channel[:, rng.permutation(4)], prior) == pytest.approx(told)
        order = rng.permutation(3)
        assert measure(channel[order], prior[order]) == pytest.approx(told)
        assert 0 <= told <= np.log2(3) + 1e-9


@given(st.floats(0, 12), st.floats(0, 12))
def test_a_larger_shift_tells_more_and_never_more_than_the_bit(one: float, other: float) -> None:
    less, more = sorted([one, other])
    assert 0 <= gaussian_shift_information(less) <= gaussian_shift_information(more) + 1e-9
    assert gaussian_shift_information(more) <= 1


@given(COUNTS)
def test_the_limits_lie_around_what_was_seen(counts: np.ndarray) -> None:
    if (counts.sum(axis=1) == 0).any():
        for limit in (information_limit, min_entropy_leakage_limits):
            with pytest.raises(InsufficientData):
                limit(counts)
        return
    for limit in (information_limit, min_entropy_leakage_limits):
        found = limit(counts)
        assert 0 <= found.value <= found.high <= 1
        mirrored = limit(counts[::-1, ::-1])
        assert mirrored.high == pytest.approx(found.high)
        assert mirrored.value == pytest.approx(found.value)
    assert 0 <= found.low <= found.value


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.integers(2, 4), st.integers(2, 5))
def test_no_channel_of_the_region_tells_more_than_the_limit(seed: int, secrets: int, views: int) -> None:
    """Channels drawn between the cells' ends, and all corners mixed."""
    rng = np.random.default_rng(seed)
    counts = rng.integers(0, 25, (secrets, views)) + np.eye(secrets, views, dtype=int)
    prior = rng.dirichlet(np.ones(secrets))
    low, high = region(counts, 0.95)
    ends = [corners(a, b) for a, b in zip(low, high, strict=True)]
    most = information_limit(counts, prior=prior.tolist()).high
    leakage = min_entropy_leakage_limits(counts, prior=prior.tolist())
    for _ in range(50):
        channel = np.stack([rng.dirichlet(np.full(len(e), 0.1)) @ e for e in ends])
        assert (channel >= low - 1e-9).all()
        assert (channel <= high + 1e-9).all()
        assert channel_information(channel, prior) <= most + 1e-9
        assert leakage.low - 1e-9 <= min_entropy_leakage(channel, prior) <= leakage.high + 1e-9


def test_where_corners_are_too_many_the_limit_stays_above_theirs() -> None:
    rng = np.random.default_rng(8)
    excess = []
    for _ in range(20):
        ends = [rng.dirichlet(60 * rng.dirichlet(np.ones(3)) + 1, 20) for _ in range(3)]
        prior = rng.dirichlet(np.ones(3))
        exact = most_information(ends, prior)
        excess.append(most_information([np.concatenate([e] * 2) for e in ends], prior) - exact)  # 64 000
    assert min(excess) >= -1e-12
    assert np.median(excess) < 0.05  # and is worth printing


def test_one_corner_holds_the_most() -> None:
    """A fine grid inside the boxes finds nothing above the corners."""
    from harness.estimators.proportion import clopper_pearson

    counts = np.array([[30, 10], [5, 20]])
    boxes = [clopper_pearson(float(row[1]), float(row.sum()), level=0.95**0.5) for row in counts]
    grid = [np.linspace(*box, 41) for box in boxes]
    fair = np.array([0.5, 0.5])
    most = max(
        channel_information(np.array([[1 - a, a], [1 - b, b]]), fair) for a in grid[0] for b in grid[1]
    )
    assert information_limit(counts).high == pytest.approx(most)


def test_the_correction_takes_away_what_chance_adds() -> None:
    rng = np.random.default_rng(3)
    raw, corrected = [], []
    for _ in range(400):
        counts = np.bincount(rng.integers(0, 4, 60), minlength=4).reshape(2, 2)
        channel = counts / counts.sum(axis=1, keepdims=True)
        raw.append(channel_information(channel, counts.sum(axis=1) / 60))
        corrected.append(plug_in_information(counts))
    assert np.mean(raw) == pytest.approx(1 / (2 * 60 * np.log(2)), rel=0.25)
    assert abs(np.mean(corrected)) < 4 * np.std(corrected) / 20


def test_symmetry_must_be_claimed_for_the_narrow_limit() -> None:
    counts = np.array([[90, 10], [10, 90]])
    narrow = symmetric_information_limit(counts, claim="the handle's comparator, by its data sheet")
    wide = information_limit(counts)
    assert narrow.value == pytest.approx(wide.value)
    assert narrow.high < wide.high
    with pytest.raises(ValueError, match="`claim` must say who holds errors to be symmetric"):
        symmetric_information_limit(counts, claim=" ")


def test_symmetry_that_the_counts_deny_is_refused() -> None:
    with pytest.raises(ValueError, match="errors are not symmetric: a zero is read as a one in 0 to"):
        symmetric_information_limit(np.array([[100, 0], [50, 50]]), claim="the maker says so")
    with pytest.raises(ValueError, match=r"\(2, 2\)"):
        symmetric_information_limit(np.ones((2, 3), int), claim="the maker says so")


def test_without_its_claim_the_narrow_limit_covers_nothing_on_a_z_channel() -> None:
    """Ones read as zeros half of the time, zeros always right: .311 bit, 200 runs of 2000 attempts.

    The narrow limit is fed the same errors shared out evenly, or it would refuse them; the limit for any
    channel must cover in as many runs as 95 % gives, with a chance of one in a thousand to be told off.
    """
    rng = np.random.default_rng(4)
    truth = channel_information(np.array([[1.0, 0.0], [0.5, 0.5]]), FAIR)
    narrow = wide = 0
    for wrong in rng.binomial(1000, 0.5, 200).tolist():
        zeros, ones = wrong // 2, wrong - wrong // 2
        even = np.array([[1000 - zeros, zeros], [ones, 1000 - ones]])
        narrow += symmetric_information_limit(even, claim="falsely").high >= truth
        wide += information_limit(np.array([[1000, 0], [wrong, 1000 - wrong]])).high >= truth
    assert narrow == 0
    assert wide >= binom.ppf(0.001, 200, 0.95)


def test_more_views_than_a_limit_can_hold_are_refused() -> None:
    with pytest.raises(ValueError, match="at most 12 values of a view, got 13: merge some"):
        information_limit(np.ones((2, 13), int))
    with pytest.raises(ValueError, match=r"4\^7 ways to guess, more than 4096: merge"):
        min_entropy_leakage_limits(np.ones((4, 7), int))


def test_gaps_in_an_alphabet_change_nothing_that_was_seen() -> None:
    counts = np.array([[30, 10], [12, 28]])
    gap = np.array([[30, 0, 10], [12, 0, 28]])
    assert plug_in_information(gap) == pytest.approx(plug_in_information(counts))
    assert information_limit(gap).value == pytest.approx(information_limit(counts).value)
    assert information_limit(gap).high > information_limit(counts).high  # it might have been seen


def test_what_cannot_be_judged_is_refused_in_one_sentence() -> None:
    with pytest.raises(ValueError, match="sum to 1"):
        channel_information(np.array([[0.5, 0.4], [0.5, 0.5]]), FAIR)
    with pytest.raises(ValueError, match="sum to 1"):
        channel_information(np.array([[0.5, 0.5], [0.5, 0.5]]), np.array([0.5, 0.6]))
    with pytest.raises(ValueError, match="a row for each of 3"):
        channel_information(np.eye(2), np.ones(3) / 3)
    with pytest.raises(ValueError, match="whole numbers"):
        plug_in_information(np.array([[0.5, 1.0], [1.0, 2.0]]))
    with pytest.raises(ValueError, match="probabilities of 2 secrets that sum to 1, got"):
        information_limit(np.ones((2, 2), int), prior=(0.5, 0.6))
    with pytest.raises(ValueError, match="strictly between 0 and 1"):
        information_limit(np.ones((2, 2), int), level=1.0)
    with pytest.raises(InsufficientData, match=r"every secret must have occurred, got \[0, 2\] times"):
        plug_in_information(np.array([[0, 0], [1, 1]]), prior=(0.5, 0.5))
    with pytest.raises(InsufficientData, match="at least one attempt"):
        plug_in_information(np.zeros((2, 2), int))
    with pytest.raises(InsufficientData, match="4 attempts cannot show"):
        detectable_information(4)
    with pytest.raises(InsufficientData, match="0 attempts cannot show"):
        detectable_information(0)
    with pytest.raises(ValueError, match="0 < level < power < 1"):
        detectable_information(100, power=0.04)


def test_symbols_are_counted_or_refused() -> None:
    bits = np.array([0, 1, 1])
    assert joint_counts(bits, bits, secrets=2, views=3).tolist() == [[1, 0, 0], [0, 2, 0]]
    with pytest.raises(ValueError, match="`view` must hold whole numbers from 0 to 1, got float64"):
        joint_counts(bits, bits + 0.5, secrets=2, views=2)
    with pytest.raises(
        ValueError, match="`secret` must hold whole numbers from 0 to 1, got int64 from 0 to 2"
    ):
        joint_counts(np.array([0, 2, 1]), bits, secrets=2, views=2)
    with pytest.raises(ValueError, match="of one length"):
        joint_counts(bits, bits[:2], secrets=2, views=2)


def test_a_constant_view_or_a_constant_secret_tells_nothing() -> None:
    assert plug_in_information(np.array([[7, 0], [5, 0]])) == 0.0
    assert plug_in_information(np.array([[7, 5], [0, 0]])) == 0.0
    one = np.array([[7], [5]])
    assert information_limit(one).high == min_entropy_leakage_limits(one).high == 0.0


def test_shannon_counts_impossible_values_as_nothing() -> None:
    assert shannon(np.array([0.5, 0.5, 0.0])) == pytest.approx(1.0)
