"""The set-difference sketch: capacity, loss, and that the harness attacks it exactly."""

from __future__ import annotations

from itertools import combinations
from math import comb, log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array, Witness
from harness.decoding import secret_ranks
from harness.gf2 import solver
from schemes import gf2
from schemes.codes import bch, bch_dimensions, code
from schemes.commitment import commitment
from schemes.sketches import SetDifference, Sketch, set_difference, sketch_named

MEMBERSHIP = np.array([[0], [1]], np.uint8)


def sets(rng: np.random.Generator, attempts: int, blocks: int, universe: int, size: int) -> Array:
    return (rng.random((attempts, blocks, universe)).argsort(axis=2) < size).astype(np.uint8)


@settings(max_examples=60, deadline=None)
@given(
    universe=st.sampled_from([15, 20, 31, 100, 255, 400, 1023]),
    differences=st.integers(1, 7),
    seed=st.integers(0, 2**32),
)
def test_sets_within_capacity_are_recovered(universe: int, differences: int, seed: int) -> None:
    sketch = SetDifference(universe=universe, differences=differences)
    rng = np.random.default_rng(seed)
    bits = sets(rng, 3, 2, universe, universe // 4)
    secret, helper = sketch.commit(bits, rng=rng)
    apart = sets(rng, 3, 2, universe, differences) & (rng.random((3, 2, 1)) < 0.8)
    found, corrected = sketch.recover(bits ^ apart, helper)
    assert corrected.all()
    assert np.array_equal(found, secret)
    assert np.array_equal(secret, bits.reshape(3, -1))


def test_every_difference_within_capacity_is_recovered_and_none_beyond_goes_back() -> None:
    sketch = SetDifference(universe=13, differences=2)
    rng = np.random.default_rng(2)
    for size in range(1, 5):
        where = np.array(list(combinations(range(13), size)))
        bits = sets(rng, len(where), 1, 13, 5)
        _, helper = sketch.commit(bits, rng=rng)
        other = bits.copy()
        other[np.arange(len(where))[:, None], 0, where] ^= 1
        found, corrected = sketch.recover(other, helper)
        right = corrected[:, 0] & (found.reshape(bits.shape) == bits).all(axis=(1, 2))
        assert right.all() if size <= 2 else not right.any()
        # what is claimed lies within capacity of B's own set
        claimed = (found.reshape(bits.shape) ^ other).sum(axis=(1, 2))
        assert (claimed[corrected[:, 0]] <= 2).all()


def test_power_sums_as_written_out() -> None:
    """{x^3, x^14} of GF(16), x^4 = x + 1: the sum is 8 + 9, that of the cubes x^9 + x^12 = 10 + 15."""
    bits = np.zeros((1, 1, 15), np.uint8)
    bits[0, 0, [14 - 3, 14 - 14]] = 1  # element i stands for the power 14 - i
    sketch = set_difference(code=bch(15, 7))
    _, helper = sketch.commit(bits, rng=np.random.default_rng(0))
    assert helper["power-sums"].tolist() == [[[8 ^ 9, 10 ^ 15]]]


@pytest.mark.parametrize(("n", "k"), [(31, 16), (63, 30), (255, 131), (511, 421), (1023, 923)])
def test_loss_is_that_of_the_code_and_at_most_differences_times_log_universe(n: int, k: int) -> None:
    """Dodis et al.: a loss of t log2(universe + 1) bits; short cosets of the code make it less."""
    sketch = set_difference(code=bch(n, k))
    lost = gf2.rank(
        sketch.linear(
            sketch.commit(np.zeros((1, 1, n), np.uint8), rng=np.random.default_rng(0))[1],
            np.arange(n)[None, None],
        ).parity
    )
    assert lost == n - k
    assert lost <= sketch.differences * log2(n + 1)
    assert sketch.differences == bch_dimensions(n)[k]


@pytest.mark.parametrize("universe", [15, 24, 300])
def test_linear_says_what_is_true_of_bits_and_secret(universe: int) -> None:
    sketch = SetDifference(universe=universe, differences=3)
    assert isinstance(sketch, Sketch)
    rng = np.random.default_rng(8)
    bits = sets(rng, 6, 2, universe, 7)
    secret, helper = sketch.commit(bits, rng=rng)
    linear = sketch.linear(helper, np.arange(2 * universe).reshape(1, 2, universe))
    assert np.array_equal(gf2.product(bits, linear.parity.T), linear.syndrome)
    assert np.array_equal(
        gf2.product(bits, linear.secret_map.T) ^ linear.secret_offset, secret.reshape(bits.shape)
    )


def test_harness_ranks_the_set_among_exactly_those_with_the_same_sums() -> None:
    """A listener who knows nothing but the sums of two differences: 2^(15 - 8) sets are left, all alike."""
    made = commitment(
        labels=MEMBERSHIP,
        blocks=1,
        straddle=True,
        sketch="set-difference",
        code="bch-15-7",
        extraction="hkdf",
        key_bits=15,
    )
    rng = np.random.default_rng(1)
    symbols = rng.integers(0, 2, (5, 15), dtype=np.uint8)
    _, helper = made.sketch.commit(symbols[:, None], rng=rng)
    linear = made.linear(helper)
    assert solver(linear.parity).dimension == 7
    nothing = np.full((5, 15, 2), -np.log(2))
    ranks = secret_ranks(nothing, MEMBERSHIP, linear, symbols)
    assert ranks.upto_high.tolist() == [128.0] * 5
    assert ranks.fewer_high.tolist() == [0.0] * 5
    knows = np.where(np.arange(2) == symbols[..., None], np.log(0.9), np.log(0.1))
    assert (secret_ranks(knows, MEMBERSHIP, linear, symbols).upto_high == 1).all()


def test_of_small_sets_the_sums_may_tell_all() -> None:
    """105 sets of two elements of fifteen: two sums name each of them, one sum names seven at a time."""
    where = np.array(list(combinations(range(15), 2)))
    bits = np.zeros((len(where), 1, 15), np.uint8)
    bits[np.arange(len(where))[:, None], 0, where] = 1
    rng = np.random.default_rng(0)
    two = SetDifference(universe=15, differences=2).commit(bits, rng=rng)[1]["power-sums"]
    one = SetDifference(universe=15, differences=1).commit(bits, rng=rng)[1]["power-sums"]
    assert len(np.unique(two[:, 0], axis=0)) == comb(15, 2)
    assert np.unique(one, return_counts=True)[1].tolist() == [7] * 15


def test_commitment_over_sets_end_to_end() -> None:
    made = commitment(
        labels=MEMBERSHIP,
        blocks=1,
        straddle=True,
        sketch="set-difference",
        code="bch-511-421",
        extraction="hkdf",
        key_bits=128,
    )
    assert (made.secret_bits, made.symbols) == (511, 511)
    rng = np.random.default_rng(3)
    symbols = sets(rng, 4, 1, 511, 60)[:, 0]
    keys, helper = made.generate(Witness(symbols=symbols, alphabet=2, acquired=np.ones(4, bool)), rng=rng)
    apart = sets(rng, 4, 1, 511, 10)[:, 0]
    apart[3] = sets(rng, 1, 1, 511, 11)[0, 0]
    again, accepted = made.reproduce(
        Witness(symbols=symbols ^ apart, alphabet=2, acquired=np.ones(4, bool)), helper
    )
    assert accepted.tolist() == [True, True, True, False]
    assert np.array_equal(again[:3], keys[:3])
    assert not again[3].any()


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: SetDifference(universe=1024, differences=3), "3 to 1023, got 1024"),
        (lambda: SetDifference(universe=15, differences=8), "1 to 7, got 8"),
        (lambda: SetDifference(universe=15, differences=0), "got 0"),
        (lambda: sketch_named("set-difference", "golay-24-12"), "must be a BCH code, got golay-24-12"),
        (lambda: sketch_named("set-diference", code("bch-15-7")), "nearest is 'set-difference'"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()
