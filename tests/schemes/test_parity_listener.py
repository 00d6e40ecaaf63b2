"""What a listener makes of the parity rounds: all that was told, and no more."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array, Witness
from schemes import gf2
from schemes.parity_agreement import parity_agreement
from schemes.parity_listener import corrected_by_listening, known_pieces, odds_by_listening
from schemes.parity_rounds import ParityRounds, equations

BITS = np.array([[0], [1]], np.uint8)


def noisy(rng: np.random.Generator, a: Array, q: float) -> Array:
    return a ^ (rng.random(a.shape) < q).astype(np.uint8)


@settings(max_examples=30, deadline=None)
@given(
    bits=st.integers(2, 60),
    first=st.integers(2, 12),
    rounds=st.integers(1, 4),
    q=st.floats(0, 0.3),
    seed=st.integers(0, 2**32),
)
def test_pieces_say_exactly_what_was_told(bits: int, first: int, rounds: int, q: float, seed: int) -> None:
    made = ParityRounds(bits=bits, first_block=min(first, bits), rounds=rounds)
    rng = np.random.default_rng(seed)
    a = rng.integers(0, 2, (3, bits), dtype=np.uint8)
    _, _, helper = made.reconcile(a, noisy(rng, a, q), rng=rng)
    starts, before = known_pieces(made, helper)
    for attempt in range(3):
        matrix, _ = equations(made, helper, attempt)
        pieces = []
        for turn in range(rounds):
            edges = np.append(np.flatnonzero(starts[attempt, turn]), bits)
            order = helper["orders"][attempt, turn]
            for low, high in pairwise(edges):
                row = np.zeros(bits, np.uint8)
                row[order[low:high]] = 1
                value = before[attempt, turn, low] ^ before[attempt, turn, high]
                assert row @ a[attempt] % 2 == value
                pieces.append(row)
        assert gf2.rank(np.array(pieces)) == gf2.rank(matrix) == gf2.rank(np.vstack([matrix, *pieces]))


def test_a_listener_nearly_as_good_as_b_is_helped_by_what_b_needed() -> None:
    made = ParityRounds(bits=260, first_block=9)
    rng = np.random.default_rng(1)
    a = rng.integers(0, 2, (150, 260), dtype=np.uint8)
    _, _, helper = made.reconcile(a, noisy(rng, a, 0.08), rng=rng)
    shares = []
    for q in (0.02, 0.05, 0.2):
        bits, fits = corrected_by_listening(made, noisy(rng, a, q), helper, doubt=q)
        right = (bits == a).all(axis=1)
        assert fits[right].all()
        shares.append(right.mean())
    # without listening all 260 bits are right in .98^260 = .005 of attempts
    assert shares[0] > 0.6
    assert 0.02 < shares[1] < shares[0]
    assert shares[2] == 0


def test_knowing_which_bits_are_doubtful_helps() -> None:
    """A tenth of the bits unknown, all others right: one in twenty wrong if guessed, as with hard bits."""
    made = ParityRounds(bits=260, first_block=9)
    rng = np.random.default_rng(6)
    a = rng.integers(0, 2, (100, 260), dtype=np.uint8)
    _, _, helper = made.reconcile(a, noisy(rng, a, 0.08), rng=rng)
    unknown = rng.random(a.shape) < 0.1
    odds, fits = odds_by_listening(made, np.where(unknown, 0.0, np.where(a == 1, 9.0, -9.0)), helper)
    right = ((odds > 0) == a).all(axis=1)
    assert fits[right].all()
    soft = right.mean()
    heard = np.where(unknown, rng.integers(0, 2, a.shape), a)
    hard = (corrected_by_listening(made, heard, helper, doubt=0.05)[0] == a).all(axis=1).mean()
    assert soft > 0.9
    assert hard < soft - 0.3


def test_odds_are_exact_where_pieces_share_no_bits() -> None:
    """One round, one block of three: P(first = 1 | odd parity) by adding up the four words."""
    made = ParityRounds(bits=3, first_block=3, rounds=1)
    a = np.array([[1, 0, 0]], np.uint8)
    _, _, helper = made.reconcile(a, a, rng=np.random.default_rng(0))
    p = np.array([0.6, 0.3, 0.2])
    odds, _ = odds_by_listening(made, np.log(p / (1 - p))[None], helper)
    one = 0.6 * (0.3 * 0.2 + 0.7 * 0.8)
    zero = 0.4 * (0.3 * 0.8 + 0.7 * 0.2)
    assert odds[0, 0] == pytest.approx(np.log(one / zero), abs=1e-5)


def test_right_bits_stay_right_whatever_the_doubt() -> None:
    made = ParityRounds(bits=120, first_block=8, rounds=3)
    rng = np.random.default_rng(2)
    a = rng.integers(0, 2, (20, 120), dtype=np.uint8)
    _, _, helper = made.reconcile(a, noisy(rng, a, 0.1), rng=rng)
    for doubt in (0.001, 0.2, 0.4):
        bits, fits = corrected_by_listening(made, a, helper, doubt=doubt)
        assert fits.all()
        assert np.array_equal(bits, a)


def test_one_wrong_bit_is_found_by_hand() -> None:
    """Two rounds without any question: the bit in the one piece of each round that does not fit."""
    made = ParityRounds(bits=16, first_block=4, rounds=2)
    a = np.zeros((1, 16), np.uint8)
    _, _, helper = made.reconcile(a, a, rng=np.random.default_rng(3))
    heard = np.eye(16, dtype=np.uint8)
    everywhere = {name: np.repeat(array, 16, axis=0) for name, array in helper.items()}
    bits, fits = corrected_by_listening(made, heard, everywhere, doubt=0.05)
    # where four places of round 1 and eight of round 2 share one bit, that is it; else several are alike
    first, second = np.argsort(helper["orders"][0], axis=1) // np.array([[4], [8]])
    shared = np.array([((first == first[i]) & (second == second[i])).sum() for i in range(16)])
    assert (shared == 1).any()
    assert fits[shared == 1].all()
    assert not bits[shared == 1].any()


def test_rows_are_heard_independently() -> None:
    made = ParityRounds(bits=260, first_block=9)
    rng = np.random.default_rng(4)
    a = rng.integers(0, 2, (80, 260), dtype=np.uint8)
    _, _, helper = made.reconcile(a, noisy(rng, a, 0.08), rng=rng)
    heard = noisy(rng, a, 0.04)
    bits, fits = corrected_by_listening(made, heard, helper, doubt=0.04)
    part = slice(40, 47)
    again, ok = corrected_by_listening(
        made, heard[part], {name: array[part] for name, array in helper.items()}, doubt=0.04
    )
    assert np.array_equal(again, bits[part])
    assert np.array_equal(ok, fits[part])


def test_overheard_keys_are_those_of_a_where_the_check_fits() -> None:
    made = parity_agreement(labels=BITS, bits=260, error_rate=0.08, extraction="toeplitz", key_bits=24)
    rng = np.random.default_rng(5)
    a = rng.integers(0, 2, (60, 260), dtype=np.uint8)

    def witness(symbols: Array) -> Witness:
        return Witness(symbols=symbols, alphabet=2, acquired=np.ones(len(symbols), bool))

    keys, _, _, helper = made.agree(witness(a), witness(noisy(rng, a, 0.08)), rng=rng)
    heard, accepted = made.overhear(witness(noisy(rng, a, 0.03)), helper)
    assert 0.2 < accepted.mean() < 1
    assert np.array_equal(heard[accepted], keys[accepted])
    assert not heard[~accepted].any()
    assert made.overhear(witness(a), helper)[1].all()
    stranger = witness(rng.integers(0, 2, a.shape, dtype=np.uint8))
    assert not made.overhear(stranger, helper)[1].any()


@pytest.mark.parametrize("doubt", [0.0, 0.5])
def test_a_doubt_out_of_range_is_refused(doubt: float) -> None:
    made = ParityRounds(bits=16, first_block=4)
    a = np.zeros((1, 16), np.uint8)
    _, _, helper = made.reconcile(a, a, rng=np.random.default_rng(0))
    with pytest.raises(ValueError, match=r"between 0 and 0\.5, got"):
        corrected_by_listening(made, a, helper, doubt=doubt)
