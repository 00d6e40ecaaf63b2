"""Key ranks against exact enumeration, big-integer counting, and their own identities."""

from __future__ import annotations

import itertools
from functools import reduce
from math import comb, log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness import ranking
from harness.contracts import Array
from harness.ranking import GRID, Ranks, concatenate, on_grid, product_ranks


def enumerated(costs: list[Array], true: Array) -> tuple[Array, Array, Array]:
    """b, b + t and -log2 of the posterior by listing every key; costs on the grid add exactly."""
    fewer, upto, surprise = [], [], []
    for row in range(len(true)):
        total = reduce(np.add.outer, [c[row] for c in costs]).ravel()
        own = sum(c[row, true[row, i]] for i, c in enumerate(costs))
        fewer.append((total < own).sum() if np.isfinite(own) else np.inf)
        upto.append((total <= own).sum() if np.isfinite(own) else np.inf)
        with np.errstate(divide="ignore", invalid="ignore"):
            surprise.append(
                (own + np.log(np.exp(-total).sum())) / np.log(2) if np.isfinite(own) else np.inf
            )
    return np.array(fewer), np.array(upto), np.array(surprise)


def drawn(seed: int, sizes: list[int], kind: str, rows: int = 3) -> tuple[list[Array], Array]:
    rng = np.random.default_rng(seed)
    costs = []
    for size in sizes:
        if kind == "ties":
            cost = rng.integers(0, 3, (rows, size)).astype(float)
        else:
            cost = -on_grid(np.log(rng.dirichlet(np.full(size, 0.5), rows) + 1e-12))
        if kind == "impossible":
            cost[rng.random(cost.shape) < 0.25] = np.inf
        costs.append(cost)
    return costs, np.stack([rng.integers(0, s, rows) for s in sizes], axis=1)


def holds(ranks: Ranks, fewer: Array, upto: Array) -> bool:
    return bool(
        (ranks.fewer_low <= fewer).all()
        and (fewer <= ranks.fewer_high).all()
        and (ranks.upto_low <= upto).all()
        and (upto <= ranks.upto_high).all()
    )


# 2 ** 14 keys and more: past what one merged block of 4096 candidates counts exactly
BLOCKS = st.one_of(
    st.lists(st.sampled_from([2, 3, 4, 8]), min_size=1, max_size=5),
    st.lists(st.sampled_from([64, 128]), min_size=2, max_size=2),
    st.just([16, 300, 20]),
    st.just([2] * 16),
)


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    sizes=BLOCKS,
    kind=st.sampled_from(["smooth", "ties", "impossible"]),
    bins=st.sampled_from([64, 2048]),
)
def test_brackets_hold_the_enumerated_rank(seed: int, sizes: list[int], kind: str, bins: int) -> None:
    costs, true = drawn(seed, sizes, kind)
    fewer, upto, surprise = enumerated(costs, true)
    ranks = product_ranks(costs, true, bins=bins)
    assert holds(ranks, fewer, upto)
    assert np.allclose(ranks.surprise, surprise, rtol=1e-9, atol=1e-9)
    if np.prod(sizes) <= 4096:
        assert np.array_equal(ranks.fewer_low, fewer)
        assert np.array_equal(ranks.upto_high, upto)


def test_a_rank_off_by_one_fails_the_same_check() -> None:
    costs, true = drawn(5, [4, 4, 4], "smooth")
    fewer, upto, _ = enumerated(costs, true)
    assert not holds(product_ranks(costs, true), fewer + 1, upto + 1)


def test_twenty_bits() -> None:
    costs, true = drawn(11, [2] * 20, "smooth", rows=2)
    fewer, upto, _ = enumerated(costs, true)
    ranks = product_ranks(costs, true)
    assert holds(ranks, fewer, upto)
    assert (np.log2(ranks.fewer_high + 1) - np.log2(ranks.fewer_low + 1) < 0.5).all()


def counted(cost: Array, true: Array) -> tuple[int, int]:
    """Keys cheaper than the truth, and not dearer, by whole-number subset counting."""
    own = int(sum(cost[i, t] for i, t in enumerate(true)))
    ways = [1] + [0] * own
    for a, b in cost.astype(int).tolist():
        ways = [(ways[x - a] if x >= a else 0) + (ways[x - b] if x >= b else 0) for x in range(own + 1)]
    return sum(ways[:own]), sum(ways)


@pytest.mark.parametrize("third", [False, True])
@pytest.mark.parametrize("bits", [128, 256])
def test_long_keys_against_whole_number_counting(bits: int, third: bool) -> None:
    """Integer costs, so that numbers of keys come out exactly as Python integers."""
    rng = np.random.default_rng(bits)
    cost = np.stack([np.zeros((4, bits)), rng.integers(1, 60, (4, bits))], axis=2)
    true = (rng.random((4, bits)) < np.array([[0.03], [0.1], [0.25], [0.5]])).astype(int)
    used = [cost[:, i] for i in range(bits)]
    used[0] = np.column_stack([used[0], np.full(4, np.inf)]) if third else used[0]
    ranks = product_ranks(used, true)
    for row in range(4):
        fewer, upto = counted(cost[row], true[row])
        assert ranks.fewer_low[row] <= fewer <= ranks.fewer_high[row]
        assert ranks.upto_low[row] <= upto <= ranks.upto_high[row]
    low, high = ranks.log2_rank(bits)
    assert (high - low < 1.5).all()


def confident(seed: int, bits: int, rows: int) -> tuple[list[Array], Array]:
    """Dear flips, and two to five of them: ranks far below the number of keys, in whole numbers."""
    rng = np.random.default_rng(seed)
    penalty = rng.integers(20, 60, (rows, bits)).astype(float)
    flips = rng.integers(2, 6, (rows, 1))
    true = (rng.permuted(np.tile(np.arange(bits), (rows, 1)), axis=1) < flips).astype(int)
    return [np.stack([np.zeros(rows), p], axis=1) for p in penalty.T], true


def brackets_of_confident(seed: int, bits: int, rows: int, *, third: bool) -> list[bool]:
    """With a third candidate, an impossible one, blocks are merged instead of flips being counted."""
    costs, true = confident(seed, bits, rows)
    padded = [np.column_stack([costs[0], np.full(rows, np.inf)]), *costs[1:]]
    ranks = product_ranks(padded if third else costs, true)
    exact = [counted(np.stack([c[r] for c in costs]), true[r]) for r in range(rows)]
    return [
        ranks.fewer_low[r] <= f <= ranks.fewer_high[r] and ranks.upto_low[r] <= u <= ranks.upto_high[r]
        for r, (f, u) in enumerate(exact)
    ]


@pytest.mark.parametrize("third", [False, True])
@pytest.mark.parametrize("bits", [128, 256])
def test_low_ranks_of_long_keys_are_not_drowned(bits: int, third: bool) -> None:
    assert all(brackets_of_confident(bits, bits, 6, third=third))


@pytest.mark.slow
@pytest.mark.parametrize("third", [False, True])
@pytest.mark.parametrize("seed", range(10))
def test_low_ranks_of_many_long_keys_are_not_drowned(seed: int, third: bool) -> None:
    assert all(brackets_of_confident(seed, 128, 40, third=third))


def test_where_the_error_may_matter_rows_are_counted_directly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the tilt the bound on the error exceeds low ranks; a wrong recount then fails the check."""
    recounts, convolved = [], ranking._convolved

    def noted(counts: Array, histogram: Array) -> Array:
        recounts.append(len(counts))
        return convolved(counts, histogram)

    monkeypatch.setattr(ranking, "_convolved", noted)
    assert all(brackets_of_confident(128, 128, 6, third=True))
    assert not recounts
    monkeypatch.setattr(ranking, "_tilt", lambda histograms: np.zeros(histograms.shape[1]))
    assert all(brackets_of_confident(128, 128, 6, third=True))
    assert recounts
    monkeypatch.setattr(ranking, "_convolved", lambda counts, histogram: counts)
    assert not any(brackets_of_confident(128, 128, 6, third=True))


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32), blocks=st.integers(2, 8), most=st.sampled_from([2, 60, 4000]))
def test_the_convolution_errs_by_less_than_it_says(seed: int, blocks: int, most: int) -> None:
    """Against whole numbers: brackets have slack that would hide such an error."""
    rng, width = np.random.default_rng(seed), 60
    histograms = rng.integers(0, most, (blocks, 2, width)) * (rng.random((blocks, 2, width)) < 0.3)
    histograms[:, :, 0] += 1
    counts, error, shift = ranking._tilted_convolution(histograms.astype(float))
    assert not shift.any()
    for row in range(2):
        exact = [1] + [0] * (width - 1)
        for block in histograms[:, row].tolist():
            exact = [sum(exact[j] * block[i - j] for j in range(i + 1)) for i in range(width)]
        cumulated = zip(itertools.accumulate(exact), np.cumsum(counts[row]).tolist(), strict=True)
        assert max(abs(a - b) for a, b in cumulated) <= error[row]


@pytest.mark.parametrize("bits", [900, 1100, 2048])
def test_ranks_beyond_the_range_of_floats_stay_brackets(bits: int) -> None:
    """All bits alike: C(n, 0) + ... keys with fewer flips, from whole numbers."""
    cost = np.tile([0.0, 1.0], (1, 1))
    flips = bits // 2
    true = np.zeros((1, bits), int)
    true[0, :flips] = 1
    low, high = product_ranks([cost] * bits, true).log2_rank(bits)
    fewer = sum(comb(bits, i) for i in range(flips))
    exact = log2(fewer + (comb(bits, flips) + 1) // 2)
    assert low[0] <= exact <= high[0] <= bits
    assert low[0] > 800


def test_uniform_belief_ties_all_keys() -> None:
    ranks = product_ranks([np.zeros((1, 2))] * 128, np.zeros((1, 128), int))
    assert (ranks.fewer_high[0], ranks.upto_low[0]) == (0, 2.0**128)
    assert ranks.surprise[0] == pytest.approx(128)
    low, high = ranks.success(2**20, offline=True)
    assert low[0] == high[0] == 2.0**-108
    long = product_ranks([np.zeros((1, 2))] * 1500, np.zeros((1, 1500), int))
    assert long.log2_rank(1500)[0][0] <= 1499 <= long.log2_rank(1500)[1][0]


def test_a_key_ruled_out_is_never_reached() -> None:
    impossible = np.array([[np.inf, np.inf], [0.0, np.inf]])
    ranks = product_ranks([impossible, np.zeros((2, 2))], np.array([[0, 0], [1, 0]]))
    assert np.isinf(ranks.fewer_low).all()
    assert np.isinf(ranks.surprise).all()
    assert [x.tolist() for x in ranks.success(2**64, offline=False)] == [[0, 0], [0, 0]]
    assert ranks.log2_rank(2)[0].tolist() == [2, 2]


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 2**32), kind=st.sampled_from(["smooth", "ties", "impossible"]))
def test_success_grows_with_the_budget_and_bounds_are_in_order(seed: int, kind: str) -> None:
    ranks = product_ranks(*drawn(seed, [16, 300, 20], kind))
    before = np.zeros(3), np.zeros(3)
    for budget in (1, 2, 10, 100, 2**10, 2**20):
        low, high = ranks.success(budget, offline=False)
        assert (low <= high).all()
        assert (low >= before[0]).all()
        assert (high >= before[1]).all()
        before = low, high
    first, last = ranks.log2_rank(17)
    assert (first <= last).all()


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_order_of_blocks_and_names_of_candidates_do_not_matter(seed: int) -> None:
    costs, true = drawn(seed, [3, 4, 8, 2], "ties")
    rng = np.random.default_rng(seed)
    order = rng.permutation(4)
    names = [rng.permutation(c.shape[1]) for c in costs]
    other = [costs[b][:, names[b]] for b in order]
    found = np.stack([np.argsort(names[b])[true[:, b]] for b in order], axis=1)
    a, b = product_ranks(costs, true), product_ranks(other, found)
    assert np.array_equal(a.fewer_low, b.fewer_low)
    assert np.array_equal(a.upto_high, b.upto_high)
    assert np.allclose(a.surprise, b.surprise)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    sizes=BLOCKS,
    kind=st.sampled_from(["smooth", "ties", "impossible"]),
    budget=st.integers(1, 2**18),
)
def test_odds_lie_within_their_interval(seed: int, sizes: list[int], kind: str, budget: int) -> None:
    """Over keys: [mean(upper rank within G), mean(lower rank within G)] holds the odds, ties shared."""
    costs, true = drawn(seed, sizes, kind, rows=6)
    fewer, upto, _ = enumerated(costs, true)
    reached = np.isfinite(fewer)
    ties = np.where(reached, upto - np.where(reached, fewer, 0), 1)
    exact = np.where(reached, np.clip((budget - np.where(reached, fewer, 0)) / ties, 0, 1), 0)
    low, high = product_ranks(costs, true, bins=128).success(budget, offline=False)
    assert (low <= exact + 1e-12).all()
    assert (exact <= high + 1e-12).all()
    assert low.mean() <= exact.mean() + 1e-12
    assert exact.mean() <= high.mean() + 1e-12


def test_ties_are_shared_and_earlier_work_counts_off_line_only() -> None:
    one = np.array([3.0])
    ranks = Ranks(
        fewer_low=one, fewer_high=one, upto_low=one + 4, upto_high=one + 4, surprise=one, work=3.0
    )
    assert [ranks.success(g, offline=False)[0][0] for g in (3, 4, 5, 7, 9)] == [0, 0.25, 0.5, 1, 1]
    # 2**3 - 1 trials are spent before the first guess
    assert [ranks.success(g, offline=True)[0][0] for g in (7, 10, 11, 14)] == [0, 0, 0.25, 1]
    assert ranks.log2_rank(20)[0][0] == pytest.approx(np.log2(3 + 5 / 2))


def test_an_open_bracket_succeeds_at_most() -> None:
    known, unknown = np.array([3.0]), np.array([np.inf])
    ranks = Ranks(
        fewer_low=known, fewer_high=unknown, upto_low=known + 1, upto_high=unknown, surprise=known * np.nan
    )
    assert [x[0] for x in ranks.success(10, offline=False)] == [0, 1]
    assert [x[0] for x in ranks.log2_rank(8)] == [2, 8]


def test_the_grid_keeps_impossible_and_stops_at_its_floor() -> None:
    found = on_grid(np.array([-np.inf, -1e9, -0.3, 0.0]))
    assert found[0] == -np.inf
    assert found[1] == -8192
    assert found[2] * GRID == round(found[2] * GRID)
    assert abs(found[2] + 0.3) <= 0.5 / GRID
    assert found[3] == 0


def test_batches_join() -> None:
    costs, true = drawn(1, [4, 4], "smooth", rows=4)
    parts = [product_ranks([c[r] for c in costs], true[r]) for r in (slice(0, 1), slice(1, 4))]
    whole, joined = product_ranks(costs, true), concatenate(parts)
    assert np.array_equal(whole.fewer_low, joined.fewer_low)
    assert np.array_equal(whole.surprise, joined.surprise)


def test_enumeration_lists_every_key() -> None:
    """The oracle itself, against a loop over keys."""
    costs, true = drawn(2, [2, 3, 2], "ties", rows=1)
    totals = [
        sum(c[0, k] for c, k in zip(costs, key, strict=True))
        for key in itertools.product(range(2), range(3), range(2))
    ]
    own = sum(c[0, t] for c, t in zip(costs, true[0], strict=True))
    fewer, upto, _ = enumerated(costs, true)
    assert fewer[0] == sum(t < own for t in totals)
    assert upto[0] == sum(t <= own for t in totals)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_rows_do_not_know_of_each_other(seed: int) -> None:
    """More rows than are worked on at once give each the rank that it has alone."""
    costs, true = drawn(seed, [16, 300, 20], "impossible", rows=40)
    together = product_ranks(costs, true)
    for row in (0, 31, 32, 39):
        alone = product_ranks([c[row : row + 1] for c in costs], true[row : row + 1])
        assert alone.fewer_low[0] == together.fewer_low[row]
        assert alone.upto_high[0] == together.upto_high[row]


@pytest.mark.parametrize("third", [False, True])
def test_equal_costs_are_counted_exactly_and_ties_apart(third: bool) -> None:
    """A hard-decision channel: sums of the binomial tail, counted as whole numbers."""
    wrong = np.array([0, 3, 12, 40])
    true = (np.arange(128) < wrong[:, None]).astype(np.intp)
    cost = np.tile(-on_grid(np.log([0.8, 0.2])), (4, 1))
    costs = [np.column_stack([cost, np.full(4, np.inf)]) if third else cost, *[cost] * 127]
    ranks = product_ranks(costs, true)
    for row, w in enumerate(wrong.tolist()):
        fewer = sum(comb(128, i) for i in range(w))
        assert ranks.fewer_low[row] <= fewer <= ranks.fewer_high[row]
        assert ranks.upto_low[row] <= fewer + comb(128, w) <= ranks.upto_high[row]
    assert ranks.fewer_high == pytest.approx(ranks.fewer_low, rel=1e-8)
    assert ranks.upto_high == pytest.approx(ranks.upto_low, rel=1e-8)


@pytest.mark.parametrize("bits", [13, 20, 24])
def test_two_merged_blocks_are_counted_exactly(bits: int) -> None:
    """Costs that lie close together, where rounding would not tell them apart."""
    rng = np.random.default_rng(bits)
    wrong = 1.2 + rng.normal(0, 0.01, (6, bits))
    costs = [on_grid(np.stack([np.zeros(6), wrong[:, i]], axis=1)) for i in range(bits)]
    true = (rng.random((6, bits)) < 0.3).astype(np.intp)
    ranks = product_ranks(costs, true)
    assert np.array_equal(ranks.fewer_low, ranks.fewer_high)
    assert np.array_equal(ranks.upto_low, ranks.upto_high)
    if bits < 24:  # sixteen million sums a row are left to the other two
        fewer, upto, _ = enumerated(costs, true)
        assert np.array_equal(ranks.fewer_low, fewer)
        assert np.array_equal(ranks.upto_low, upto)
