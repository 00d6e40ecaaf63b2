"""Interactive parity reconciliation: what is corrected, what is told, and at what price."""

from __future__ import annotations

from math import log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array
from harness.gf2 import solver
from schemes import gf2
from schemes.parity_rounds import ParityRounds, equations, parities_told


def entropy(q: float) -> float:
    return -q * log2(q) - (1 - q) * log2(1 - q)


def pair(rng: np.random.Generator, attempts: int, bits: int, q: float) -> tuple[Array, Array]:
    a = rng.integers(0, 2, (attempts, bits), dtype=np.uint8)
    return a, a ^ (rng.random(a.shape) < q)


def blocks_agree(made: ParityRounds, a: Array, b: Array, orders: Array) -> bool:
    """Whether no block of any round is odd any more, block by block."""
    for turn, length in enumerate(made.block_lengths):
        apart = np.take_along_axis(a ^ b, orders[:, turn].astype(int), axis=1)
        for start in range(0, made.bits, length):
            if (apart[:, start : start + length].sum(axis=1) % 2).any():
                return False
    return True


@settings(max_examples=40, deadline=None)
@given(
    bits=st.integers(2, 90),
    first=st.integers(2, 20),
    rounds=st.integers(1, 5),
    q=st.floats(0, 0.2),
    seed=st.integers(0, 2**32),
)
def test_every_message_is_true_and_every_block_ends_even(
    bits: int, first: int, rounds: int, q: float, seed: int
) -> None:
    made = ParityRounds(bits=bits, first_block=min(first, bits), rounds=rounds)
    rng = np.random.default_rng(seed)
    a, b = pair(rng, 4, bits, q)
    corrected, finished, helper = made.reconcile(a, b, rng=rng)
    assert (np.sort(helper["orders"], axis=2) == np.arange(bits)).all()
    for attempt in range(4):
        matrix, values = equations(made, helper, attempt)
        assert len(matrix) == parities_told(helper)[attempt]
        assert np.array_equal(matrix @ a[attempt] % 2, values)
        assert gf2.rank(matrix) <= len(matrix)
    done = finished
    assert blocks_agree(made, a[done], corrected[done], helper["orders"][done])
    # an odd number of errors in all bits cannot stay: some block of every round would be odd
    assert not ((a ^ corrected)[done].sum(axis=1) % 2).any()


def test_one_error_costs_the_depth_of_its_block() -> None:
    made = ParityRounds(bits=64, first_block=16, rounds=1)
    rng = np.random.default_rng(0)
    a = rng.integers(0, 2, (64, 64), dtype=np.uint8)
    corrected, finished, helper = made.reconcile(a, a ^ np.eye(64, dtype=np.uint8), rng=rng)
    assert finished.all()
    assert np.array_equal(corrected, a)
    assert (helper["told"].sum(axis=1) == 4).all()
    assert (parities_told(helper) == 4 + 4).all()


def test_corrections_are_traced_back_into_earlier_rounds() -> None:
    """Two pairs of errors, each in one block of round 1; round 2 separates them, but joins one of each.

    The two that stand alone in round 2 are found there; their partners only because of that, in round 1.
    """
    made = ParityRounds(bits=128, first_block=16, rounds=2)
    attempts = 3000
    a = np.zeros((attempts, 128), np.uint8)
    orders = made.reconcile(a, a, rng=np.random.default_rng(2))[2]["orders"].astype(int)
    errors = orders[:, 0, [0, 1, 16, 17]]
    place = np.argsort(orders[:, 1], axis=1)
    block = np.take_along_axis(place, errors, axis=1) // 32
    chosen = (block[:, 0] == block[:, 2]) & (np.diff(np.sort(block[:, [0, 1, 3]], axis=1)) > 0).all(axis=1)
    assert chosen.sum() > 100
    b = a.copy()
    np.put_along_axis(b, errors, 1, axis=1)
    corrected, _, helper = made.reconcile(a, b, rng=np.random.default_rng(2))
    assert np.array_equal(helper["orders"], orders)
    assert not corrected[chosen].any()
    # two blocks of 32, then two of 16
    assert (helper["told"].sum(axis=1)[chosen] == 5 + 5 + 4 + 4).all()
    turns = [helper["asked"][i, : helper["told"][i].sum(), 0].tolist() for i in np.flatnonzero(chosen)]
    assert all(turn == [1] * 10 + [0] * 8 for turn in turns)
    # both pairs whole inside blocks of round 2: nothing is seen of them
    whole = (block[:, 0] == block[:, 1]) & (block[:, 2] == block[:, 3])
    assert whole.sum() > 20
    assert (corrected[whole].sum(axis=1) == 4).all()


def test_what_b_ends_with_depends_on_a_through_the_told_parities_alone() -> None:
    """Other bits of A with the same parities give the same talk and the same result."""
    made = ParityRounds(bits=60, first_block=8, rounds=3)
    a, b = pair(np.random.default_rng(3), 20, 60, 0.05)
    corrected, _, helper = made.reconcile(a, b, rng=np.random.default_rng(4))
    other = a.copy()
    for attempt in range(20):
        null = solver(equations(made, helper, attempt)[0]).basis
        assert len(null)
        other[attempt] ^= null[0]
    assert (other != a).any(axis=1).all()
    corrected_too, _, helper_too = made.reconcile(other, b, rng=np.random.default_rng(4))
    assert np.array_equal(corrected_too, corrected)
    for name, array in helper.items():
        assert np.array_equal(helper_too[name], array)


@pytest.mark.parametrize(("q", "first", "attempts"), [(0.02, 37, 60), (0.05, 15, 60), (0.1, 7, 60)])
def test_price_lies_between_the_entropy_of_the_errors_and_a_third_more(
    q: float, first: int, attempts: int
) -> None:
    """Slepian and Wolf (1973): n h(q) parities are needed on average when all errors are found.

    Published efficiencies of this kind of protocol lie between 1.1 and 1.3 (from memory).
    """
    bits = 4000
    made = ParityRounds(bits=bits, first_block=first)
    rng = np.random.default_rng(round(1000 * q))
    a, b = pair(rng, attempts, bits, q)
    corrected, finished, helper = made.reconcile(a, b, rng=rng)
    assert finished.all()
    assert (corrected != a).any(axis=1).mean() < 0.1
    told = parities_told(helper)
    error = told.std() / np.sqrt(attempts)
    assert told.mean() - 4 * error > bits * entropy(q)
    assert told.mean() + 4 * error < 1.33 * bits * entropy(q)


def test_attempts_are_independent_of_their_neighbours() -> None:
    """Split into parts of any size, the same conversations take place."""
    made = ParityRounds(bits=9000, first_block=15)
    a, b = pair(np.random.default_rng(5), 130, 9000, 0.03)
    corrected, _, helper = made.reconcile(a, b, rng=np.random.default_rng(6))
    first, _, of_first = made.reconcile(a[:1], b[:1], rng=np.random.default_rng(6))
    assert np.array_equal(first, corrected[:1])
    for name, array in of_first.items():
        assert np.array_equal(array, helper[name][:1])


def test_without_errors_only_the_blocks_are_told() -> None:
    made = ParityRounds(bits=100, first_block=10, rounds=3)
    assert (made.block_lengths, made.blocks) == ((10, 20, 40), 10 + 5 + 3)
    a, _ = pair(np.random.default_rng(7), 5, 100, 0)
    corrected, finished, helper = made.reconcile(a, a, rng=np.random.default_rng(8))
    assert finished.all()
    assert np.array_equal(corrected, a)
    assert (parities_told(helper) == 18).all()


def test_a_stops_when_it_has_told_as_much_as_there_are_bits() -> None:
    made = ParityRounds(bits=100, first_block=2, rounds=4)
    a, b = pair(np.random.default_rng(9), 30, 100, 0.5)
    _, finished, helper = made.reconcile(a, b, rng=np.random.default_rng(10))
    assert not finished.any()
    assert (parities_told(helper) == 100).all()


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: ParityRounds(bits=64.0, first_block=8), r"whole number .*, got 64\.0"),  # type: ignore[arg-type]
        (lambda: ParityRounds(bits=1, first_block=2), "2 to 65535, got 1"),
        (lambda: ParityRounds(bits=10, first_block=11), "from 2 to 10, got 11"),
        (lambda: ParityRounds(bits=10, first_block=2, rounds=0), "1 to 16, got 0"),
        (
            lambda: ParityRounds(bits=10, first_block=5).reconcile(
                np.zeros((2, 9), np.uint8), np.zeros((2, 9), np.uint8), rng=np.random.default_rng(0)
            ),
            r"\(attempts, 10\).*got \(2, 9\)",
        ),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()
