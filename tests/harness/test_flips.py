"""Sets of flips below a limit, against listing them all and whole-number counting."""

from __future__ import annotations

from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness import flips
from harness.contracts import Array
from harness.flips import flip_set_counts
from harness.ranking import on_grid

KINDS = ("smooth", "whole numbers", "equal", "two sizes", "impossible", "tiny")


def penalties(rng: np.random.Generator, kind: str, rows: int, bits: int) -> Array:
    """On the grid, so that sums are exact and equal sets tie."""
    smooth = -on_grid(-np.abs(rng.normal(2, 1.5, (rows, bits))))
    if kind == "whole numbers":
        return rng.integers(0, 4, (rows, bits)).astype(float)
    if kind == "equal":  # a hard-decision channel
        return np.repeat(smooth[:, :1] + 2.0**-24, bits, axis=1)
    if kind == "two sizes":
        return np.where(rng.random((rows, bits)) < 0.5, smooth[:, :1], smooth[:, 1:2])
    if kind == "impossible":
        return np.where(rng.random((rows, bits)) < 0.3, np.inf, smooth)
    if kind == "tiny":  # most flips cost next to nothing
        return np.where(rng.random((rows, bits)) < 0.7, rng.integers(0, 3, (rows, bits)) * 2.0**-24, smooth)
    return smooth


def listed(penalty: Array) -> Array:
    """Cost of every set of flips, (rows, 2**bits)."""
    total = np.zeros((len(penalty), 1))
    for value in penalty.T:
        total = np.concatenate([total, total + value[:, None]], axis=1)
    return total


@settings(max_examples=120, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    bits=st.integers(1, 17),
    kind=st.sampled_from(KINDS),
    bins=st.sampled_from([16, 128, 2048]),
)
def test_counts_bracket_those_of_a_full_list(seed: int, bits: int, kind: str, bins: int) -> None:
    rng = np.random.default_rng(seed)
    penalty = penalties(rng, kind, 4, bits + 1)
    total = listed(penalty)
    # the cost of a set that there is, as a rank has it, so that ties matter
    own = np.where(np.isfinite(total) & (total > 0), total, np.nan)
    limit = np.array([rng.choice(row[np.isfinite(row)]) if np.isfinite(row).any() else 1.0 for row in own])
    low, high = flip_set_counts(penalty, limit, bins=bins)
    assert (low <= (total < limit[:, None]).sum(axis=1)).all()
    assert ((total <= limit[:, None]).sum(axis=1) <= high).all()


def test_twenty_bits_of_every_kind() -> None:
    rng = np.random.default_rng(3)
    for kind in KINDS:
        penalty = penalties(rng, kind, 2, 20)
        total = listed(penalty)
        finite = [np.sort(row[np.isfinite(row) & (row > 0)]) for row in total]
        for part in (0.001, 0.1, 0.6):
            limit = np.array([row[int(part * len(row))] for row in finite])
            low, high = flip_set_counts(penalty, limit, bins=2048)
            assert (low <= (total < limit[:, None]).sum(axis=1)).all()
            assert ((total <= limit[:, None]).sum(axis=1) <= high).all()


def test_without_the_knapsacks_the_same_check_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    penalty = penalties(rng, "smooth", 40, 17)
    total = listed(penalty)
    limit = np.median(total, axis=1)

    def holds() -> bool:
        low, high = flip_set_counts(penalty, limit, bins=64)
        below, upto = ((total < limit[:, None]).sum(axis=1), (total <= limit[:, None]).sum(axis=1))
        return bool((low <= below).all() and (upto <= high).all())

    assert holds()
    monkeypatch.setattr(flips, "_knapsack", lambda gain, weight, capacity: np.zeros(len(gain)))
    assert not holds()


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32), items=st.integers(1, 8))
def test_a_fractional_knapsack_is_no_less_than_any_set_that_fits(seed: int, items: int) -> None:
    rng = np.random.default_rng(seed)
    gain, weight = rng.normal(0, 1, (3, items)), rng.integers(0, 4, (3, items)).astype(float)
    bound = flips._knapsack(gain, weight, 6.0)
    fits = listed(weight) <= 6.0
    best = np.where(fits, listed(np.maximum(gain, 0)), 0.0).max(axis=1)
    assert (best <= bound + 1e-12).all()
    assert (bound <= np.maximum(gain, 0).sum(axis=1) + 1e-12).all()


def test_equal_flips_are_counted_exactly() -> None:
    """A hard-decision channel: the sum of the binomial numbers up to the weight."""
    weight = np.array([1, 3, 12, 25])
    low, high = flip_set_counts(np.full((4, 128), 1.375), 1.375 * weight, bins=2048)
    for row, w in enumerate(weight.tolist()):
        below = sum(comb(128, i) for i in range(w))
        assert low[row] == pytest.approx(below, rel=1e-11)
        assert high[row] == pytest.approx(below + comb(128, w), rel=1e-11)


def test_free_flips_double_every_count() -> None:
    penalty = np.concatenate([np.zeros((1, 30)), np.ones((1, 10))], axis=1)
    low, high = flip_set_counts(penalty, np.array([2.0]), bins=2048)
    assert (low[0], high[0]) == (2.0**30 * 11, 2.0**30 * 56)


def test_rows_do_not_know_of_each_other() -> None:
    """More rows than are worked on at once, some needing wider histograms than others."""
    rng = np.random.default_rng(7)
    penalty = np.concatenate([penalties(rng, kind, 60, 40) for kind in KINDS])
    limit = np.array([np.sort(row)[: 3 + i % 5].sum() + 2.0**-24 for i, row in enumerate(penalty)])
    limit = np.where(np.isfinite(limit), limit, 1.0)
    together = flip_set_counts(penalty, limit, bins=2048)
    for row in range(0, len(limit), 7):
        alone = flip_set_counts(penalty[row : row + 1], limit[row : row + 1], bins=2048)
        assert (alone[0][0], alone[1][0]) == (together[0][row], together[1][row])


def test_order_of_bits_does_not_matter() -> None:
    rng = np.random.default_rng(8)
    penalty = penalties(rng, "smooth", 5, 64)
    limit = penalty[:, :9].sum(axis=1)
    shuffled = penalty[:, rng.permutation(64)]
    for a, b in zip(
        flip_set_counts(penalty, limit, bins=512), flip_set_counts(shuffled, limit, bins=512), strict=True
    ):
        assert np.array_equal(a, b)
