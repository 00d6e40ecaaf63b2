"""Permutation tests: exact counts, invariances, what they find, and what they refuse."""

from __future__ import annotations

import bz2
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.permutation_statistics import (
    LAGS,
    STATISTICS,
    block_ones,
    block_values,
    order_statistics,
)
from harness.estimators.entropy.permutations import (
    FEWEST,
    permutation_counts,
    permutation_test,
    tail_count,
)
from harness.streams import stream


def runs(flags: list[bool]) -> list[int]:
    """Lengths of runs."""
    lengths: list[int] = []
    for place, flag in enumerate(flags):
        if place and flag == flags[place - 1]:
            lengths[-1] += 1
        else:
            lengths.append(1)
    return lengths or [0]


def collisions(s: list[int]) -> list[int]:
    found, seen = [], []
    for symbol in s:
        seen.append(symbol)
        if symbol in seen[:-1]:
            found.append(len(seen))
            seen = []
    return found


def one_by_one(s: list[int], *, binary: bool, middle: float) -> dict[str, float]:
    """Every statistic of one sequence, as one would by hand."""
    n = len(s)
    numbers, blocks = s, s
    if binary:
        eights = [s[i : i + 8] for i in range(0, n, 8)]
        numbers = [sum(e) for e in eights]
        blocks = [int("".join(map(str, e)).ljust(8, "0"), 2) for e in eights]
    rises = [b >= a for a, b in pairwise(numbers)]
    middles = [x >= middle for x in s]
    lengths = collisions(blocks)
    found: dict[str, float] = {
        "excursion": max(abs(n * sum(s[: i + 1]) - (i + 1) * sum(s)) for i in range(n)),
        "directional-runs": len(runs(rises)) if rises else 0,
        "longest-directional-run": max(runs(rises)),
        "increases-or-decreases": max(sum(rises), len(rises) - sum(rises)),
        "median-runs": len(runs(middles)),
        "longest-median-run": max(runs(middles)),
        "average-collision": sum(lengths) / len(lengths) if lengths else 0,
        "longest-collision": max(lengths, default=0),
        "compression": len(bz2.compress(" ".join(map(str, s)).encode())),
    }
    for lag in LAGS:
        ahead = list(zip(numbers, numbers[lag:], strict=False))
        found[f"periodicity-{lag}"] = sum(a == b for a, b in ahead)
        found[f"covariance-{lag}"] = sum(a * b for a, b in ahead)
    return found


@given(
    st.integers(2, 90).flatmap(
        lambda n: st.lists(
            st.lists(st.integers(0, 255), min_size=n, max_size=n)
            | st.lists(st.integers(0, 2), min_size=n, max_size=n),
            min_size=1,
            max_size=3,
        )
    )
)
def test_statistics_of_many_rows_are_those_of_each_by_hand(rows: list[list[int]]) -> None:
    found = order_statistics(np.array(rows, np.uint8), binary=False, middle=7.5)
    for place, row in enumerate(rows):
        assert {name: found[name][place] for name in STATISTICS} == one_by_one(
            row, binary=False, middle=7.5
        )


@given(st.lists(st.integers(0, 1), min_size=2, max_size=300))
def test_statistics_of_bits_are_those_by_hand(bits: list[int]) -> None:
    found = order_statistics(np.array([bits], np.uint8), binary=True, middle=0.5)
    assert {name: v[0] for name, v in found.items()} == one_by_one(bits, binary=True, middle=0.5)


@given(st.lists(st.integers(0, 1), min_size=1, max_size=60))
def test_blocks_of_eight_bits_are_filled_up_with_zeros(bits: list[int]) -> None:
    row = np.array([bits])
    filled = "".join(map(str, bits)).ljust(-(-len(bits) // 8) * 8, "0")
    eights = [filled[i : i + 8] for i in range(0, len(filled), 8)]
    assert block_values(row)[0].tolist() == [int(e, 2) for e in eights]
    assert block_ones(row)[0].tolist() == [e.count("1") for e in eights]


def markov(rng: np.random.Generator, n: int, stays: float) -> Array:
    return np.cumsum(rng.random(n) > stays) % 2


def test_symbols_that_stay_are_rejected_and_the_same_shuffled_are_not() -> None:
    rng = stream(1, "permutations")
    sticky = markov(rng, 400, 0.8)
    found = {o.name: o for o in permutation_test(sticky, rng=rng)}
    rejected = {o.name for o in found.values() if o.rejected}
    assert {"median-runs", "compression"} <= rejected
    assert found["median-runs"].permutations == 10_000  # only all of them reject
    shuffled = permutation_test(rng.permutation(sticky), rng=rng)
    assert not any(o.rejected for o in shuffled)


def test_the_same_people_one_after_another_are_rejected() -> None:
    rng = stream(2, "permutations")
    people = np.repeat(rng.choice([0.1, 0.9], 25), 24)
    ones = (rng.random(600) < people).astype(int)
    found = {o.name: o.rejected for o in permutation_test(ones, rng=rng, permutations=2000)}
    assert found["median-runs"]
    assert found["covariance-1"]


def test_a_period_is_found_at_its_lag() -> None:
    rng = stream(3, "permutations")
    base = rng.integers(0, 4, 500)
    base[8:] = np.where(rng.random(492) < 0.4, base[:-8], base[8:])
    found = {o.name: o.rejected for o in permutation_test(base, rng=rng)}
    assert found["periodicity-8"]
    assert not found["periodicity-1"]


@pytest.mark.parametrize("tail", [0, 4])
def test_each_statistic_is_rejected_as_seldom_as_said(tail: int) -> None:
    """2 (tail + 1) / 200 at most, in the exact binomial region of 150 sequences at .001 / statistics."""
    hits = dict.fromkeys(STATISTICS, 0)
    for i in range(150):
        rng = stream(4, "size", i, tail)
        symbols = rng.choice(3, 80, p=[0.5, 0.3, 0.2])
        for o in permutation_counts(symbols, rng=rng, permutations=199, tail=tail):
            hits[o.name] += o.rejected
    most = binom.isf(0.001 / len(STATISTICS), 150, 2 * (tail + 1) / 200)
    assert max(hits.values()) <= most


def test_what_is_settled_early_is_what_all_permutations_would_say() -> None:
    symbols = stream(5, "early").integers(0, 2, 300)
    early = permutation_counts(symbols, rng=stream(5, "shuffles"), permutations=400, tail=0)
    for o in early:
        if not o.rejected:
            assert min(o.above + o.equal, o.equal + o.below) > 0
        assert o.permutations <= 400
    assert len({o.permutations for o in early}) > 1


def test_the_same_stream_counts_the_same() -> None:
    symbols = stream(6, "symbols").integers(0, 5, 200)
    first, second = (permutation_test(symbols, rng=stream(6, "shuffles")) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("labels", [[0, 1], [3, 7], [0, 255]])
def test_two_symbols_are_bits_whatever_their_names(labels: list[int]) -> None:
    bits = stream(7, "bits").integers(0, 2, 200)
    named = np.array(labels)[bits]
    expected = permutation_test(bits, rng=stream(7, "shuffles"))
    assert permutation_test(named, rng=stream(7, "shuffles")) == expected


@pytest.mark.parametrize("symbol", [0, 9])
def test_a_constant_sequence_has_one_order_only(symbol: int) -> None:
    found = permutation_test(np.full(50, symbol), rng=stream(8, "constant"))
    assert all(o.equal == o.permutations and not o.rejected for o in found)


def test_progress_is_told_to_the_end() -> None:
    told: list[tuple[int, int]] = []
    symbols = np.arange(60) % 3
    permutation_test(
        symbols, rng=stream(9, "p"), permutations=2000, progress=lambda *done: told.append(done)
    )
    assert told[-1] == (2000, 2000)
    assert all(a < b for (a, _), (b, _) in pairwise(told))


@pytest.mark.parametrize("n", [FEWEST, 2000, 4999, 9_999, 10_000, 100_000])
def test_other_numbers_of_permutations_keep_the_rate(n: int) -> None:
    assert (tail_count(n) + 1) / (n + 1) <= 6 / 10_001
    assert (tail_count(n) + 2) / (n + 1) > 6 / 10_001


@pytest.mark.parametrize(
    ("symbols", "error", "says"),
    [
        (np.zeros(0, int), InsufficientData, "at least two symbols, got 0"),
        (np.array([1]), InsufficientData, "at least two symbols, got 1"),
        (np.array([0.0, 1.0]), ValueError, "whole numbers"),
        (np.zeros((2, 2), int), ValueError, "shape"),
        (np.array([0, 256]), ValueError, "0 to 255, got 0 to 256"),
        (np.array([-1, 3]), ValueError, "0 to 255, got -1 to 3"),
    ],
)
def test_bad_symbols_are_refused(symbols: Array, error: type[Exception], says: str) -> None:
    with pytest.raises(error, match=says):
        permutation_test(symbols, rng=stream(0, "bad"))


def test_too_few_permutations_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 1666"):
        permutation_test(np.arange(10), rng=stream(0, "few"), permutations=1665)
