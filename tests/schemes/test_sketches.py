"""Sketches: what is published, what it says, and what it corrects."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from schemes import gf2
from schemes.codes import code
from schemes.commitment import commitment, whole_symbols
from schemes.sketches import CodeOffset, Sketch, SyndromeSketch, sketch_named

CODES = ("hamming-7-4", "golay-23-12", "golay-24-12", "bch-63-30", "repetition-3")


def made(kind: str, name: str) -> tuple[Sketch, int]:
    chosen = code(name)
    return sketch_named(kind, chosen), chosen.t


@settings(max_examples=80, deadline=None)
@given(
    kind=st.sampled_from(["code-offset", "syndrome"]),
    name=st.sampled_from(CODES),
    seed=st.integers(0, 2**32),
)
def test_secret_is_recovered_from_bits_within_t_errors_a_block(kind: str, name: str, seed: int) -> None:
    sketch, t = made(kind, name)
    rng = np.random.default_rng(seed)
    bits = rng.integers(0, 2, (4, 3, sketch.n), dtype=np.uint8)
    order = rng.random(bits.shape).argsort(axis=2).argsort(axis=2)
    weight = rng.integers(0, t + 1, (4, 3, 1))
    secret, helper = sketch.commit(bits, rng=rng)
    again, corrected = sketch.recover(bits ^ (order < weight), helper)
    assert secret.shape == (4, 3 * sketch.k)
    assert corrected.shape == (4, 3)
    assert corrected.all()
    assert np.array_equal(again, secret)


@pytest.mark.parametrize("kind", ["code-offset", "syndrome"])
@pytest.mark.parametrize("name", CODES)
def test_linear_says_what_is_true_of_bits_and_secret(kind: str, name: str) -> None:
    sketch, _ = made(kind, name)
    rng = np.random.default_rng(8)
    positions = np.arange(5 * sketch.n).reshape(1, 5, sketch.n)
    bits = rng.integers(0, 2, (6, 5, sketch.n), dtype=np.uint8)
    secret, helper = sketch.commit(bits, rng=rng)
    linear = sketch.linear(helper, positions)
    assert np.array_equal(gf2.product(bits, linear.parity.T), linear.syndrome)
    told = gf2.product(bits, linear.secret_map.T) ^ linear.secret_offset
    assert np.array_equal(told.reshape(6, -1), secret)
    # together they fix the word: nothing beyond the checks is known of the secret if bits are uniform
    assert gf2.rank(np.vstack([linear.parity, linear.secret_map])) == sketch.n


def test_both_sketches_publish_the_same_of_the_witness() -> None:
    """They differ in the secret, not in what they say about the bits."""
    golay = code("golay-24-12")
    rng = np.random.default_rng(9)
    bits = rng.integers(0, 2, (10, 2, 24), dtype=np.uint8)
    positions = np.arange(48).reshape(1, 2, 24)
    offset = CodeOffset(code=golay)
    syndrome = SyndromeSketch(code=golay)
    from_offset = offset.linear(offset.commit(bits, rng=rng)[1], positions)
    from_syndrome = syndrome.linear(syndrome.commit(bits, rng=rng)[1], positions)
    assert np.array_equal(from_offset.syndrome, from_syndrome.syndrome)


def test_code_offset_secret_is_fresh_for_the_same_bits() -> None:
    sketch = CodeOffset(code=code("golay-24-12"))
    bits = np.zeros((200, 1, 24), np.uint8)
    secret, _ = sketch.commit(bits, rng=np.random.default_rng(0))
    # 200 of 4096 messages: a mean of 2400 bits, half of them ones, 5 sigma = 5 * sqrt(600) = 122
    assert abs(int(secret.sum()) - 1200) < 123
    assert len(np.unique(secret, axis=0)) > 150


def test_too_many_errors_are_noticed_in_their_block_only() -> None:
    sketch = CodeOffset(code=code("golay-24-12"))
    rng = np.random.default_rng(1)
    bits = rng.integers(0, 2, (3, 2, 24), dtype=np.uint8)
    _, helper = sketch.commit(bits, rng=rng)
    bits[1, 0, :4] ^= 1
    assert sketch.recover(bits, helper)[1].tolist() == [[True, True], [False, True], [True, True]]


@pytest.mark.parametrize("p", [0.00892, 0.05, 0.1, 0.298])
def test_golay_recovers_with_the_binomial_probability_of_at_most_three_errors(p: float) -> None:
    """Over a binary symmetric channel, that of a perfect code; not (1 - p)^23."""
    blocks, level = 100_000, 1 - 0.01 / 4
    rng = np.random.default_rng(12)
    sketch = CodeOffset(code=code("golay-23-12"))
    bits = rng.integers(0, 2, (blocks, 1, 23), dtype=np.uint8)
    secret, helper = sketch.commit(bits, rng=rng)
    again, _ = sketch.recover(bits ^ (rng.random(bits.shape) < p), helper)
    hits = int((again == secret).all(axis=1).sum())
    low, high = binom(blocks, binom(23, p).cdf(3)).interval(level)
    assert low <= hits <= high


def test_whole_symbols_leave_the_odd_bit_of_a_golay_block_empty() -> None:
    positions = whole_symbols(11, 23, 2)
    assert positions.shape == (1, 11, 23)
    assert (positions[0, :, 22] == -1).all()
    assert np.array_equal(positions[0, :, :22].ravel(), np.arange(242))


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"sketch": "code-ofset"}, "nearest is 'code-offset'"),
        ({"code": "golay-42"}, "nearest is 'golay-24-12'"),
        ({"extraction": "hkfd"}, "nearest is 'hkdf'"),
        ({"blocks": 0}, "`blocks` must be a whole number of at least 1, got 0"),
        ({"key_bits": 25}, "1 to 24, which is the secret, got 25"),
        ({"key_bits": 0}, "1 to 24"),
        ({"labels": gf2.gray(256, 8), "code": "hamming-7-4"}, "at least one symbol of 8 bits"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(change: dict[str, object], text: str) -> None:
    sound: dict[str, object] = {
        "labels": gf2.gray(4, 2),
        "blocks": 2,
        "straddle": False,
        "sketch": "code-offset",
        "code": "golay-24-12",
        "extraction": "hkdf",
        "key_bits": 24,
    }
    commitment(**sound)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=text):
        commitment(**sound | change)  # type: ignore[arg-type]


def test_code_that_is_not_systematic_is_refused() -> None:
    class Reversed:
        name, n, k, t = "reversed", 7, 4, 1
        generator = code("hamming-7-4").generator[:, ::-1]

    with pytest.raises(ValueError, match="systematic"):
        CodeOffset(code=Reversed())  # type: ignore[arg-type]
