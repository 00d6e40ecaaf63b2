"""Beliefs sharpened by what was said in the parity rounds, beside the exact posterior of few bits."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array, Helper, Witness
from harness.gf2 import all_words
from harness.optional_parts import Sharpening
from schemes import gf2
from schemes.bit_beliefs import bit_odds, with_word
from schemes.extraction import Toeplitz
from schemes.parity_agreement import ParityAgreement, parity_agreement
from schemes.parity_completion import fitting_words
from schemes.parity_rounds import equations

BITS = np.array([[0], [1]], np.uint8)
FEW = 18  # bits of which all 2^18 words can be tried
ALL = all_words(FEW)


def made(bits: int, check_bits: int, labels: Array = BITS) -> ParityAgreement:
    return parity_agreement(
        labels=labels, bits=bits, error_rate=0.1, extraction="identity", key_bits=1, rounds=2,
        check_bits=check_bits,
    )  # fmt: skip


def witness(bits: Array) -> Witness:
    return Witness(symbols=bits, alphabet=2, acquired=np.ones(len(bits), bool))


@dataclass
class Heard:
    """A's bits, what was said, and an adversary's log-odds through Gaussian noise."""

    scheme: ParityAgreement
    bits: Array
    helper: Helper
    odds: Array = field(repr=False)

    @property
    def log_prob(self) -> Array:
        both = np.stack([-self.odds / 2, self.odds / 2], axis=2)
        return np.asarray(both - np.logaddexp(both[..., :1], both[..., 1:]))


def heard(scheme: ParityAgreement, attempts: int, noise: float, seed: int = 1) -> Heard:
    rng = np.random.default_rng(seed)
    n = scheme.reconciliation.bits
    a = rng.integers(0, 2, (attempts, n), dtype=np.uint8)
    b = a ^ (rng.random(a.shape) < 0.08).astype(np.uint8)
    helper = scheme.agree(witness(a), witness(b), rng=rng)[3]
    odds = 2 * (2.0 * a - 1 + noise * rng.standard_normal(a.shape)) / noise**2
    return Heard(scheme, a, helper, odds)


def exact(run: Heard) -> Array:
    """(attempts,) whether A's bits are the likeliest of all words that fit every parity and check bit."""
    found = []
    for i, bits in enumerate(run.bits):
        matrix, values = equations(run.scheme.reconciliation, run.helper, i)
        words = ALL[(gf2.product(ALL, matrix.T) == values).all(axis=1)]
        seed = {"toeplitz-seed": np.broadcast_to(run.helper["check-seed"][i], (len(words), FEW))}
        passes = Toeplitz().key(words, seed, key_bits=1)[:, 0] == run.helper["check"][i, 0]
        words = words[passes]
        found.append((words[(words @ run.odds[i]).argmax()] == bits).all())
    return np.array(found)


@pytest.mark.parametrize("noise", [0.8, 1.2])
def test_the_likeliest_word_is_the_one_that_enumeration_finds(noise: float) -> None:
    """One check bit of 18; of the words that are the likeliest of all, one in fifty may be missed."""
    run = heard(made(FEW, 1), 150, noise)
    wanted = exact(run)
    found = (run.scheme.sharpen(run.log_prob, run.helper).argmax(axis=2) == run.bits).all(axis=1)
    plain = ((run.odds > 0) == run.bits).all(axis=1)
    assert plain.mean() < wanted.mean() - 0.1
    assert (wanted & ~found).sum() <= 0.02 * wanted.sum()
    assert not (found & ~wanted).any()


def test_check_bits_single_out_the_right_word_among_those_that_fit() -> None:
    """Of about 2^9 words that fit the parities twelve check bits leave A's and hardly another."""
    run = heard(made(FEW + 8, 8), 100, 1.0)
    without = heard(made(FEW + 8, 1), 100, 1.0)
    shares = [
        (r.scheme.sharpen(r.log_prob, r.helper).argmax(axis=2) == r.bits).all(axis=1).mean()
        for r in (run, without)
    ]
    assert shares[0] > shares[1] + 0.15


def test_of_many_bits_more_are_found_than_by_listening_with_hard_bits() -> None:
    run = heard(parity_agreement(
        labels=BITS, bits=256, error_rate=0.08, extraction="identity", key_bits=20
    ), 60, 0.65)  # fmt: skip
    sharper = run.scheme.sharpen(run.log_prob, run.helper)
    found = (sharper.argmax(axis=2) == run.bits).all(axis=1)
    _, accepted = run.scheme.overhear(witness((run.odds > 0).astype(np.uint8)), run.helper)
    assert found.mean() > 0.6 > 0.2 > accepted.mean()
    keys, again = run.scheme.overhear(witness(sharper.argmax(axis=2).astype(np.uint8)), run.helper)
    assert again[found].all()
    assert np.array_equal(keys[found], run.bits[found, :20])


def test_with_nothing_known_nothing_is_found() -> None:
    """Even beliefs about 256 bits: parities and check bits alone do not give the word."""
    run = heard(parity_agreement(
        labels=BITS, bits=256, error_rate=0.08, extraction="identity", key_bits=20
    ), 20, 1e6)  # fmt: skip
    assert not (run.scheme.sharpen(run.log_prob, run.helper).argmax(axis=2) == run.bits).all(axis=1).any()


def test_rows_are_sharpened_one_by_one_and_stay_normalised() -> None:
    run = heard(made(40, 8), 12, 1.0)
    assert isinstance(run.scheme, Sharpening)
    whole = run.scheme.sharpen(run.log_prob, run.helper)
    part = {name: array[3:5] for name, array in run.helper.items()}
    assert np.array_equal(run.scheme.sharpen(run.log_prob[3:5], part), whole[3:5])
    assert np.abs(np.logaddexp.reduce(whole, axis=2)).max() < 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 12), st.integers(1, 10), st.integers(0, 2**32))
def test_words_fit_and_come_in_order(bits: int, told: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    matrix = rng.integers(0, 2, (told, bits), dtype=np.uint8)
    a = rng.integers(0, 2, bits, dtype=np.uint8)
    odds = rng.standard_normal(bits)
    values = gf2.product(a[None], matrix.T)[0]
    words = fitting_words(matrix, values, odds, odds)
    assert (gf2.product(words, matrix.T) == values).all()
    assert (np.diff(words @ odds) < 1e-9).all()
    assert len(np.unique(words, axis=0)) == len(words)
    if bits - gf2.rank(matrix) <= 2:  # up to two changes are all there are
        assert len(words) == 2 ** (bits - gf2.rank(matrix))


def test_symbols_of_several_bits_follow_the_word() -> None:
    """Three symbols in two bits: 0 = 00, 1 = 01, 2 = 11."""
    labels = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
    p = np.array([[[0.2, 0.5, 0.3], [0.6, 0.3, 0.1]]])
    odds = bit_odds(np.log(p), labels)
    expected = [np.log(0.3 / 0.7), np.log(0.8 / 0.2), np.log(0.1 / 0.9), np.log(0.4 / 0.6)]
    assert np.allclose(odds, [expected])
    word = np.array([[1, 1, 0]], np.uint8)  # of the last symbol only the first bit is read
    told = np.array([[0.0, 0.0, -1.0]])
    found = np.exp(with_word(np.log(p), labels, told, word))
    assert np.allclose(found[0, 0], [0.2, 0.3, 0.5])
    weighted = np.array([0.6, 0.3, 0.1 / np.e])
    assert np.allclose(found[0, 1], weighted / weighted.sum())
    nobody = with_word(np.log(p), labels, told, np.array([[1, 0, 0]], np.uint8))
    assert np.allclose(np.exp(nobody)[0, 0], p[0, 0])
    sure = bit_odds(np.array([[[0.0, -600.0, -np.inf]]]), labels)
    assert (np.abs(sure) <= 15).all()
    assert np.isfinite(sure).all()
