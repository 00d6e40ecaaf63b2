"""Sets of flips below a limit, against listing them all and whole-number counting."""

from __future__ import annotations

from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness import flips
from harness.contracts import Array
from harness.flips import flip_set_counts, resolution
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


def hold(found: Array, total: Array, limit: Array) -> bool:
    below, upto = (total < limit[:, None]).sum(axis=1), (total <= limit[:, None]).sum(axis=1)
    (below_low, below_high), (upto_low, upto_high) = found
    return bool(
        (below_low <= below).all()
        and (below <= below_high).all()
        and (upto_low <= upto).all()
        and (upto <= upto_high).all()
    )


@settings(max_examples=120, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    bits=st.integers(2, 17),
    kind=st.sampled_from(KINDS),
    bins=st.sampled_from([16, 128, 2048]),
)
def test_counts_bracket_those_of_a_full_list(seed: int, bits: int, kind: str, bins: int) -> None:
    rng = np.random.default_rng(seed)
    penalty = penalties(rng, kind, 4, bits)
    penalty[:, 0] = np.where((penalty[:, 0] > 0) & np.isfinite(penalty[:, 0]), penalty[:, 0], 1.0)
    total = listed(penalty)
    # the cost of a set that there is, as a rank has it, so that ties matter
    limit = np.array([rng.choice(row[np.isfinite(row) & (row > 0)]) for row in total])
    found = flip_set_counts(penalty, limit, bins=bins)
    assert hold(found, total, limit)
    assert (found[:, 0] <= found[:, 1]).all()


def test_twenty_bits_of_every_kind() -> None:
    rng = np.random.default_rng(3)
    for kind in KINDS:
        penalty = penalties(rng, kind, 2, 20)
        total = listed(penalty)
        finite = [np.sort(row[np.isfinite(row) & (row > 0)]) for row in total]
        for part in (0.001, 0.1, 0.6):
            limit = np.array([row[int(part * len(row))] for row in finite])
            assert hold(flip_set_counts(penalty, limit, bins=2048), total, limit)


def test_without_the_knapsacks_the_same_check_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    penalty = penalties(rng, "smooth", 40, 17)
    total = listed(penalty)
    limit = np.sort(total, axis=1)[:, 2**16]
    assert hold(flip_set_counts(penalty, limit, bins=64), total, limit)
    monkeypatch.setattr(flips, "_knapsack", lambda gain, weight, capacity: np.zeros(len(gain)))
    assert not hold(flip_set_counts(penalty, limit, bins=64), total, limit)


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


@pytest.mark.parametrize("unit", [2.0**-24, 1.375, on_grid(np.log(0.9)) - on_grid(np.log(0.1))])
def test_equal_flips_are_counted_exactly(unit: float) -> None:
    """A hard-decision channel: the sum of the binomial numbers up to the weight, ties apart."""
    weight = np.array([1, 3, 12, 25, 60])
    found = flip_set_counts(np.full((5, 128), unit), unit * weight, bins=2048)
    for row, w in enumerate(weight.tolist()):
        below = sum(comb(128, i) for i in range(w))
        assert found[0, :, row] == pytest.approx([below, below], rel=3e-11)
        assert found[1, :, row] == pytest.approx([below + comb(128, w)] * 2, rel=3e-11)
        assert found[0, 0, row] <= below <= found[0, 1, row]
        assert found[1, 0, row] <= below + comb(128, w) <= found[1, 1, row]


def test_free_flips_double_every_count() -> None:
    penalty = np.concatenate([np.zeros((1, 30)), np.ones((1, 10))], axis=1)
    found = flip_set_counts(penalty, np.array([2.0]), bins=2048)
    assert found[0, :, 0].tolist() == [2.0**30 * 11] * 2
    assert found[1, :, 0].tolist() == [2.0**30 * 56] * 2


def test_nearly_equal_costs_are_not_taken_for_equal() -> None:
    """One flip dearer by the grid's step: it ties with none."""
    penalty = np.full((1, 20), 3.0)
    penalty[0, 7] += 2.0**-24
    total, limit = listed(penalty), np.array([9.0])
    _, _, exact = resolution([penalty], limit, 2048)
    assert not exact[0]
    assert hold(flip_set_counts(penalty, limit, bins=2048), total, limit)
    _, target, exact = resolution([np.full((1, 20), 3.0)], limit, 2048)
    assert exact[0]
    assert target[0] == 2046


def test_rows_do_not_know_of_each_other() -> None:
    """More rows than are worked on at once, some needing wider histograms than others."""
    rng = np.random.default_rng(7)
    penalty = np.concatenate([penalties(rng, kind, 60, 40) for kind in KINDS])
    limit = np.array([np.sort(row)[: 3 + i % 5].sum() + 2.0**-24 for i, row in enumerate(penalty)])
    limit = np.where(np.isfinite(limit), limit, 1.0)
    together = flip_set_counts(penalty, limit, bins=2048)
    for row in range(0, len(limit), 7):
        alone = flip_set_counts(penalty[row : row + 1], limit[row : row + 1], bins=2048)
        assert np.array_equal(alone[:, :, 0], together[:, :, row])


def test_order_of_bits_does_not_matter() -> None:
    rng = np.random.default_rng(8)
    penalty = penalties(rng, "smooth", 5, 64)
    limit = penalty[:, :9].sum(axis=1)
    shuffled = penalty[:, rng.permutation(64)]
    assert np.array_equal(
        flip_set_counts(penalty, limit, bins=512), flip_set_counts(shuffled, limit, bins=512)
    )
