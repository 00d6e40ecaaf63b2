"""Discrete leakage: bounds, invariance, data processing, bad input."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import InsufficientData
from harness.estimators.discrete_leakage import (
    channel_information,
    detectable_information,
    information_limit,
    min_entropy_leakage,
    plug_in_information,
    symmetric_information_limit,
)

SEEDS = st.integers(0, 2**32 - 1)
COUNTS = st.lists(st.integers(0, 40), min_size=4, max_size=4).map(lambda c: np.array(c).reshape(2, 2))


@given(SEEDS)
def test_garbling_a_view_tells_no_more_and_renaming_it_the_same(seed: int) -> None:
    rng = np.random.default_rng(seed)
    prior, channel = rng.dirichlet(np.ones(3)), rng.dirichlet(np.ones(4), 3)
    garbling = rng.dirichlet(np.ones(5), 4)
    for measure in (channel_information, min_entropy_leakage):
        told = measure(channel, prior)
        assert measure(channel @ garbling, prior) <= told + 1e-9
        assert measure(channel[:, rng.permutation(4)], prior) == pytest.approx(told)
        assert 0 <= told <= np.log2(3) + 1e-9


@given(COUNTS)
def test_the_limit_lies_above_what_was_seen(counts: np.ndarray) -> None:
    if (counts.sum(axis=1) == 0).any():
        with pytest.raises(InsufficientData):
            information_limit(counts)
        return
    for measure in (channel_information, min_entropy_leakage):
        found = information_limit(counts, measure=measure)
        assert found.value <= found.high + 1e-12
        assert found.high <= 1 + 1e-12
        mirrored = information_limit(counts[::-1, ::-1], measure=measure)
        assert mirrored.high == pytest.approx(found.high)


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
    narrow, wide = symmetric_information_limit(20, 200), information_limit(counts)
    assert narrow.value == pytest.approx(wide.value)
    assert narrow.high < wide.high
    # a view that never errs on zeros and always on ones is no coin flip, whatever the mean error
    z = np.array([[100, 0], [50, 50]])
    assert symmetric_information_limit(50, 200).high < information_limit(z).value + 0.1


def test_what_cannot_be_judged_is_refused_in_one_sentence() -> None:
    with pytest.raises(ValueError, match="sum to 1"):
        channel_information(np.array([[0.5, 0.4], [0.5, 0.5]]), np.array([0.5, 0.5]))
    with pytest.raises(ValueError, match="sum to 1"):
        channel_information(np.array([[0.5, 0.5], [0.5, 0.5]]), np.array([0.5, 0.6]))
    with pytest.raises(ValueError, match="a row for each of 3"):
        channel_information(np.eye(2), np.ones(3) / 3)
    with pytest.raises(ValueError, match="whole numbers"):
        plug_in_information(np.array([[0.5, 1.0], [1.0, 2.0]]))
    with pytest.raises(ValueError, match=r"\(2, 2\)"):
        information_limit(np.ones((2, 3), int))
    with pytest.raises(InsufficientData, match="at least one attempt"):
        plug_in_information(np.zeros((2, 2), int))
    with pytest.raises(InsufficientData, match="4 attempts cannot show"):
        detectable_information(4)
    constant = plug_in_information(np.array([[7, 0], [5, 0]]))
    assert constant == 0.0
