"""Interactive reconciliation joined with extraction: keys, what is charged, and when it is given up."""

from __future__ import annotations

import numpy as np
import pytest

from harness.contracts import Array, Interactive, Witness
from schemes import gf2
from schemes.parity_agreement import ParityAgreement, parity_agreement
from schemes.parity_rounds import equations, parities_told

BITS = np.array([[0], [1]], np.uint8)


def pair(rng: np.random.Generator, attempts: int, bits: int, q: float) -> tuple[Array, Array]:
    a = rng.integers(0, 2, (attempts, bits), dtype=np.uint8)
    return a, a ^ (rng.random(a.shape) < q)


def agreement(**change: object) -> ParityAgreement:
    sound = {"labels": BITS, "bits": 1000, "error_rate": 0.05, "extraction": "toeplitz", "key_bits": 128}
    return parity_agreement(**sound | change)  # type: ignore[arg-type]


def witness(symbols: Array, *, acquired: bool = True) -> Witness:
    return Witness(symbols=symbols, alphabet=2, acquired=np.full(len(symbols), acquired))


def test_agreement_end_to_end() -> None:
    made = agreement(spare_bits=62)
    assert isinstance(made, Interactive)
    assert made.symbols == 1000
    rng = np.random.default_rng(11)
    a, b = pair(rng, 50, 1000, 0.04)
    keys, again, accepted, helper = made.agree(witness(a), witness(b), rng=rng)
    assert accepted.mean() > 0.9
    assert np.array_equal(keys[accepted], again[accepted])
    assert not again[~accepted].any()
    assert np.array_equal(helper["disclosed"], parities_told(helper) + 32)
    assert (1000 - helper["disclosed"][~helper["aborted"]] >= 128 + 62).all()
    assert abs(keys.mean() - 0.5) < 0.03
    assert not made.agree(witness(a), witness(b, acquired=False), rng=rng)[2].any()


def test_too_many_errors_are_paid_for_with_the_attempt() -> None:
    made = agreement(key_bits=600)
    rng = np.random.default_rng(12)
    a, b = pair(rng, 20, 1000, 0.15)
    _, again, accepted, helper = made.agree(witness(a), witness(b), rng=rng)
    assert helper["aborted"].all()
    assert not accepted.any()
    assert not again.any()


def test_an_error_that_stays_is_noticed() -> None:
    """One round with one block: pairs of errors stay, and no hash lets them pass."""
    made = agreement(error_rate=0.0001, bits=200, rounds=1, key_bits=64)
    rng = np.random.default_rng(13)
    a, _ = pair(rng, 200, 200, 0)
    b = a.copy()
    b[:, :2] ^= 1
    _, _, accepted, helper = made.agree(witness(a), witness(b), rng=rng)
    assert not helper["aborted"].any()
    assert not accepted.any()


def test_symbols_of_two_bits_are_read_in_order() -> None:
    made = agreement(labels=gf2.gray(4, 2), bits=301)
    assert made.symbols == 151
    rng = np.random.default_rng(14)
    symbols = rng.integers(0, 4, (3, 170), dtype=np.uint8)
    a = Witness(symbols=symbols, alphabet=4, acquired=np.ones(3, bool))
    keys, again, accepted, helper = made.agree(a, a, rng=rng)
    assert accepted.all()
    assert np.array_equal(keys, again)
    matrix, values = equations(made.reconciliation, helper, 1)
    assert np.array_equal(matrix @ gf2.gray(4, 2)[symbols[1]].ravel()[:301] % 2, values)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: agreement(error_rate=0.3), "at most 0.25, got 0.3"),
        (lambda: agreement(key_bits=900), "1 to .*, what .* leave of 1000, got 900"),
        (lambda: agreement(check_bits=0), "of 1 or more, got 0"),
        (lambda: agreement(extraction="toplitz"), "nearest is 'toeplitz'"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()
