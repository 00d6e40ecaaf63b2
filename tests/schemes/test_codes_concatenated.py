"""Codes inside codes: size, guaranteed errors, erasures, and names."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from schemes import gf2
from schemes.codes import Code, Concatenated, code, concatenated, golay23, hamming, reed_solomon, repetition

NAMES = (
    "reed-solomon-15-9+repetition-3",
    "reed-solomon-15-7+hamming-7-4",
    "reed-solomon-15-9+bch-15-7",
    "golay-23-12+repetition-3",
    "repetition-3+golay-24-12",
    "bch-31-16+hamming-7-4",
    "reed-solomon-7-3+golay-23-12+repetition-3",
)


@pytest.mark.parametrize("name", NAMES)
def test_matrices_fit_and_encoding_is_linear(name: str) -> None:
    made = code(name)
    assert made.name == name
    assert np.array_equal(made.generator[:, : made.k], np.eye(made.k))
    assert not gf2.product(made.generator, made.parity.T).any()
    messages = np.random.default_rng(0).integers(0, 2, (50, made.k), dtype=np.uint8)
    assert np.array_equal(gf2.product(messages, made.generator), made.encode(messages))


def test_sizes_by_hand() -> None:
    made = code("reed-solomon-15-9+repetition-3")
    assert (made.n, made.k, made.t) == (180, 36, 7)  # 3 wrong symbols, each needs 2 wrong bits
    made = code("golay-23-12+repetition-3")
    assert (made.n, made.k, made.t) == (69, 12, 7)
    # 60 bits in fifteen Hamming words of four, one a symbol: 4 words have to be spoilt by 2 errors each
    made = code("reed-solomon-15-9+hamming-7-4")
    assert (made.n, made.k, made.t) == (105, 36, 7)
    # 23 bits in two words of twelve, the second shortened by one; one spoilt word is too much
    made = concatenated(golay23(), golay23())
    assert (made.n, made.k, made.t) == (23 + 2 * 11, 12, 3)


def test_distance_of_a_small_one_is_at_least_the_product() -> None:
    made = concatenated(hamming(3), repetition(3))
    words = made.encode((np.arange(1, 16)[:, None] >> np.arange(4) & 1).astype(np.uint8))
    assert words.sum(axis=1).min() == 9


@settings(max_examples=80, deadline=None)
@given(name=st.sampled_from(NAMES), seed=st.integers(0, 2**32))
def test_up_to_t_errors_are_corrected_wherever_they_are(name: str, seed: int) -> None:
    made = code(name)
    rng = np.random.default_rng(seed)
    message = rng.integers(0, 2, (8, made.k), dtype=np.uint8)
    # errors gathered in few inner words are the worst
    weight = np.where(rng.random((8, made.n)) < rng.random(), rng.random((8, made.n)), 1.0)
    order = weight.argsort(axis=1).argsort(axis=1)
    decoded, corrected = made.decode(made.encode(message) ^ (order < made.t))
    assert corrected.all()
    assert np.array_equal(decoded, message)


def test_every_three_errors_in_two_shortened_golay_words_are_corrected() -> None:
    made = concatenated(golay23(), golay23())
    word = made.encode(np.ones((1, 12), np.uint8))
    where = np.array(list(combinations(range(made.n), 3)))
    received = word.repeat(len(where), axis=0)
    received[np.arange(len(where))[:, None], where] ^= 1
    decoded, corrected = made.decode(received)
    assert corrected.all()
    assert decoded.all()


def test_inner_words_that_fail_count_as_erasures() -> None:
    """Six symbols lost by ties: twice as many as could be corrected as errors."""
    made = code("reed-solomon-15-9+repetition-2")
    word = made.encode(np.random.default_rng(5).integers(0, 2, (4, 36), dtype=np.uint8))
    message = word[:, :36].copy()
    assert made.t == 3
    for lost in (6, 7):
        received = word.copy()
        received[:, : 4 * lost] ^= 1  # outer bits wrong, their copies right
        decoded, corrected = made.decode(received)
        assert corrected.all() == (lost == 6)
        if lost == 6:
            assert np.array_equal(decoded, message)
        else:
            assert np.array_equal(decoded, received[:, :36])


@pytest.mark.parametrize("p", [0.02, 0.08])
def test_golay_over_repetition_fails_as_the_binomials_say(p: float) -> None:
    """Majority of three, then a perfect code that corrects three: no other source of failure."""
    made = code("golay-23-12+repetition-3")
    count = 40_000
    rng = np.random.default_rng(17)
    message = rng.integers(0, 2, (count, 12), dtype=np.uint8)
    noise = rng.random((count, made.n)) < p
    decoded, _ = made.decode(made.encode(message) ^ noise)
    wrong_bit = 3 * p**2 * (1 - p) + p**3
    hits = int((decoded == message).all(axis=1).sum())
    low, high = binom(count, binom(23, wrong_bit).cdf(3)).interval(1 - 0.01 / 2)
    assert low <= hits <= high


def test_words_are_decoded_independently_and_axes_kept() -> None:
    made = code("reed-solomon-15-7+hamming-7-4")
    words = np.random.default_rng(4).integers(0, 2, (3000, made.n), dtype=np.uint8)
    message, corrected = made.decode(words)
    for part in (slice(0, 1), slice(1000, 1100)):
        again, ok = made.decode(words[part])
        assert np.array_equal(again, message[part])
        assert np.array_equal(ok, corrected[part])
    stacked, ok = made.decode(words.reshape(3, 1000, made.n))
    assert np.array_equal(stacked.reshape(-1, made.k), message)
    assert ok.shape == (3, 1000)
    assert np.array_equal(message[~corrected], words[~corrected, : made.k])


def test_reed_solomon_can_be_inside_too() -> None:
    made = concatenated(repetition(3), reed_solomon(7, 3))
    assert isinstance(made, Concatenated)
    assert isinstance(made, Code)
    assert made.decode(made.encode(np.array([[1]], np.uint8)))[0].item() == 1


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("reed-solomon-15-9+repetiton-3", "'repetiton-3' in .*nearest is 'repetition-3'"),
        ("reed-solomon-15-9+", "'' in .*nearest is"),
        ("reed-solomon-15-14+repetition-3", "1 to 13, got 14.*nearest is 'reed-solomon-15-"),
        ("repetition-1", r"at least 2, got 1.*nearest is 'repetition-"),
        ("bch-127-65", "one of 120, 113.*nearest is 'bch-127-"),
    ],
)
def test_bad_names_are_answered_with_the_nearest(name: str, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        code(name)
