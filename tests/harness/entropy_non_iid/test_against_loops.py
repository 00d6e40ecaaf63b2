"""The fast estimators agree with loops over symbols, prediction by prediction and count by count."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from entropy_loops import (
    block_distances,
    collision_times,
    counting_right,
    lag_right,
    lz78y_right,
    pairs_of_length,
    stretch_counts,
    window_right,
)
from hypothesis import example, given, settings
from hypothesis import strategies as st

from harness.contracts import Array
from harness.estimators.entropy import collision, compression, counting, lag, lz78y, tuples, window
from harness.estimators.entropy.sequences import codes
from harness.estimators.entropy.suffixes import common_lengths

KINDS = ("random", "periodic", "constant", "biased", "sticky", "changing")


def drawn(kind: str, kinds: int, n: int, seed: int) -> Array:
    """(n,) numbers from 0 without gaps."""
    rng = np.random.default_rng(seed)
    symbols = rng.integers(0, kinds, n)
    if kind == "periodic":
        symbols = np.resize(symbols[: int(rng.integers(1, 20))], n)
        symbols[rng.random(n) < 0.01] = 0
    elif kind == "constant":
        symbols[:] = kinds - 1
    elif kind == "biased":
        symbols = np.minimum(rng.geometric(0.7, n) - 1, kinds - 1)
    elif kind == "sticky":
        stays = np.maximum.accumulate(np.where(rng.random(n) < 0.3, np.arange(n), 0))
        symbols = symbols[stays]
    elif kind == "changing":
        symbols[n // 2 :] = np.resize(symbols[: int(rng.integers(1, 8))], n - n // 2)
    return codes(symbols, least=1, needs="this test")[0]


sequences = st.builds(
    drawn,
    st.sampled_from(KINDS),
    st.sampled_from([2, 2, 3, 5, 256]),
    st.integers(24, 500),
    st.integers(0, 2**32),
)


@settings(max_examples=80, deadline=None)
@given(sequences)
def test_windows(s: Array) -> None:
    windows = (3, 5, 7, 20)
    assert window.window_hits(s, windows=windows).tolist() == window_right(s.tolist(), windows)


@settings(max_examples=80, deadline=None)
@given(sequences, st.integers(1, 40))
def test_lags(s: Array, lags: int) -> None:
    assert lag.lag_hits(s, lags=lags).tolist() == lag_right(s.tolist(), lags)


@settings(max_examples=120, deadline=None)
@given(sequences, st.integers(1, 8), st.sampled_from([1, 2, 7, 30, 100, 10_000]))
def test_counting(s: Array, depth: int, entries: int) -> None:
    found = counting.counting_hits(s, depth=depth, entries=entries)
    assert found.tolist() == counting_right(s.tolist(), depth, entries)


@settings(max_examples=200, deadline=None)
@given(sequences, st.integers(1, 8), st.sampled_from([1, 2, 7, 30, 100, 10_000]))
def test_dictionary(s: Array, longest: int, entries: int) -> None:
    found = lz78y.lz78y_hits(s, longest=longest, entries=entries)
    assert found.tolist() == lz78y_right(s.tolist(), longest, entries)


@pytest.mark.parametrize(
    ("text", "longest", "entries"),
    [("0001110100011", 3, 1), ("01101111011101", 3, 1), ("11101111001", 3, 2)],
)
def test_a_dictionary_that_fills_up_amid_one_place(text: str, longest: int, entries: int) -> None:
    """It then holds a long entry without the shorter one in it, which must not rule the long one out."""
    s = np.array([int(c) for c in text], np.uint8)
    found = lz78y.lz78y_hits(s, longest=longest, entries=entries)
    assert found.tolist() == lz78y_right(s.tolist(), longest, entries)


@pytest.mark.parametrize(
    ("kind", "kinds"), [*((kind, 2) for kind in KINDS), ("random", 256), ("changing", 256)]
)
def test_with_the_standards_parameters(kind: str, kinds: int) -> None:
    s = drawn(kind, kinds, 4500, 3)
    plain = s.tolist()
    windows = (63, 255, 1023, 4095)
    assert window.window_hits(s).tolist() == window_right(plain, windows)
    assert lag.lag_hits(s).tolist() == lag_right(plain, 128)
    assert counting.counting_hits(s).tolist() == counting_right(plain, 16, 100_000)
    assert lz78y.lz78y_hits(s).tolist() == lz78y_right(plain, 16, 65_536)


@settings(max_examples=60, deadline=None)
@given(sequences, st.integers(2, 6), st.integers(1, 30))
def test_collisions_and_blocks(s: Array, block: int, initial: int) -> None:
    bits = np.minimum(s, 1)
    times = collision_times(bits.tolist())
    assert collision.collision_times(bits) == (times.count(2), times.count(3))
    if len(bits) // block > initial:
        found = 2 ** compression.log_distances(bits, block=block, initial=initial)
        assert np.rint(found).astype(int).tolist() == block_distances(bits.tolist(), block, initial)


@settings(max_examples=50, deadline=None)
@given(sequences, st.integers(2, 35))
def test_stretches(s: Array, cutoff: int) -> None:
    plain, kinds = s.tolist(), int(s.max()) + 1
    most, length = [], 1
    while length <= len(plain) and (found := max(stretch_counts(plain, length))) >= cutoff:
        most.append(found)
        length += 1
    assert tuples.tuple_counts(s, kinds, cutoff=cutoff).tolist() == most
    shortest, pairs = tuples.repeated_pairs(s, kinds, cutoff=cutoff)
    assert shortest == len(most) + 1
    expected = []
    while length <= len(plain) and (found := pairs_of_length(plain, length)):
        expected.append(found)
        length += 1
    assert pairs.tolist() == expected


@settings(max_examples=100, deadline=None)
@given(sequences)
# neighbours that differ in 62 bits in a row: as one number that is just below a power of two
@example(np.repeat(np.array([1, 0, 1, 0], np.uint8), [1, 70, 70, 1]))
def test_order_of_stretches(s: Array) -> None:
    """Sorted as lists, and compared neighbour by neighbour."""
    plain = s.tolist()[:200]
    ordered = sorted(plain[i:] for i in range(len(plain)))
    agree = []
    for one, other in itertools.pairwise(ordered):
        shared = [a == b for a, b in zip(one, other, strict=False)]
        agree.append(shared.index(False) if False in shared else len(shared))
    assert common_lengths(np.array(plain, np.uint8), int(s.max()) + 1).tolist() == agree
