"""Codes against published tables, and what decoding promises."""

from __future__ import annotations

import pickle
from itertools import combinations
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemes import gf2
from schemes.codes import CODES, Code, bch, bch_dimensions, code, golay23, golay24, hamming, repetition

SMALL = ("repetition-5", "hamming-7-4", "hamming-15-11", "golay-23-12", "golay-24-12")
LARGE = ("bch-15-7", "bch-31-16", "bch-63-30", "bch-127-64", "bch-255-47")


def all_words(bits: int) -> np.ndarray:
    return (np.arange(2**bits)[:, None] >> np.arange(bits)[::-1] & 1).astype(np.uint8)


def weights(code: Code) -> dict[int, int]:
    counts = np.bincount(code.encode(all_words(code.k)).sum(axis=1))
    return {weight: int(count) for weight, count in enumerate(counts) if count}


def errors(rng: np.random.Generator, n: int, weight: np.ndarray) -> np.ndarray:
    order = rng.random((len(weight), n)).argsort(axis=1).argsort(axis=1)
    return (order < weight[:, None]).astype(np.uint8)


def random_words(code: Code, rng: np.random.Generator, count: int) -> tuple[np.ndarray, np.ndarray]:
    messages = rng.integers(0, 2, (count, code.k), dtype=np.uint8)
    return messages, code.encode(messages)


# MacWilliams and Sloane, The Theory of Error-Correcting Codes (1977) (from memory).
@pytest.mark.parametrize(
    ("made", "expected"),
    [
        (hamming(3), {0: 1, 3: 7, 4: 7, 7: 1}),
        (golay23(), {0: 1, 7: 253, 8: 506, 11: 1288, 12: 1288, 15: 506, 16: 253, 23: 1}),
        (golay24(), {0: 1, 8: 759, 12: 2576, 16: 759, 24: 1}),
        (repetition(5), {0: 1, 5: 1}),
    ],
)
def test_weight_distribution(made: Code, expected: dict[int, int]) -> None:
    assert weights(made) == expected


@pytest.mark.parametrize("made", [hamming(3), hamming(4), golay23(), repetition(5)])
def test_perfect_code_corrects_every_word(made: Code) -> None:
    assert sum(comb(made.n, w) for w in range(made.t + 1)) == 2 ** (made.n - made.k)
    cosets = np.zeros((2 ** (made.n - made.k), made.n), np.uint8)
    cosets[:, made.k :] = all_words(made.n - made.k)
    message, corrected = made.decode(cosets)
    assert corrected.all()
    # the decoded codeword lies within t of what came in
    assert ((made.encode(message) ^ cosets).sum(axis=1) <= made.t).all()


# Lin and Costello, Error Control Coding (1983), table of BCH codes (from memory).
@pytest.mark.parametrize(
    ("n", "k", "t"),
    [
        (127, 64, 10),
        (127, 71, 9),
        (127, 36, 15),
        (255, 131, 18),
        (255, 139, 15),
        (255, 123, 19),
        (255, 47, 42),
        (63, 45, 3),
        (63, 30, 6),
        (63, 18, 10),
        (31, 16, 3),
        (15, 7, 2),
    ],
)
def test_bch_parameters(n: int, k: int, t: int) -> None:
    made = bch(n, k)
    assert (made.n, made.k, made.t, made.generator.shape) == (n, k, t, (k, n))


# Octal; Lin and Costello (1983), table of generator polynomials (from memory).
@pytest.mark.parametrize(
    ("n", "k", "octal"), [(15, 7, 0o721), (31, 16, 0o107657), (63, 45, 0o1701317), (63, 30, 0o157464165547)]
)
def test_bch_generator_polynomial(n: int, k: int, octal: int) -> None:
    assert bch(n, k).polynomial == octal


@pytest.mark.parametrize("name", CODES)
def test_generator_and_parity_fit(name: str) -> None:
    made = code(name)
    assert made.name == name
    assert isinstance(made, Code)
    assert np.array_equal(made.generator[:, : made.k], np.eye(made.k))
    assert not gf2.product(made.generator, made.parity.T).any()
    assert gf2.rank(made.generator) == made.k
    assert gf2.rank(made.parity) == made.n - made.k
    assert pickle.loads(pickle.dumps(made)) == made


@pytest.mark.parametrize("name", CODES)
def test_up_to_t_errors_are_corrected(name: str) -> None:
    made = code(name)
    rng = np.random.default_rng(11)
    message, word = random_words(made, rng, 8 * (made.t + 1))
    decoded, corrected = made.decode(word ^ errors(rng, made.n, np.arange(len(word)) % (made.t + 1)))
    assert corrected.all()
    assert np.array_equal(decoded, message)


@pytest.mark.parametrize("name", ["bch-15-7", "bch-31-16", "golay-23-12", "golay-24-12", "hamming-31-26"])
def test_every_pattern_of_up_to_t_errors_is_corrected(name: str) -> None:
    made = code(name)
    message, word = random_words(made, np.random.default_rng(5), 1)
    for weight in range(made.t + 1):
        where = np.array(list(combinations(range(made.n), weight)), dtype=int)
        received = word.repeat(len(where), axis=0)
        received[np.arange(len(where))[:, None], where] ^= 1
        decoded, corrected = made.decode(received)
        assert corrected.all()
        assert (decoded == message).all()


def test_extended_golay_notices_every_four_errors() -> None:
    where = np.array(list(combinations(range(24), 4)))
    received = np.zeros((len(where), 24), np.uint8)
    received[np.arange(len(where))[:, None], where] = 1
    assert not golay24().decode(received)[1].any()


def test_golay_always_takes_four_errors_for_three() -> None:
    received = errors(np.random.default_rng(2), 23, np.full(500, 4))
    decoded, corrected = golay23().decode(received)
    assert corrected.all()
    assert decoded.any(axis=1).all()  # the zero codeword was sent


@pytest.mark.parametrize("name", LARGE)
def test_beyond_t_errors_a_bch_word_is_rejected_or_taken_for_another_codeword_within_t(name: str) -> None:
    made = code(name)
    rng = np.random.default_rng(3)
    message, word = random_words(made, rng, 3000)
    received = word ^ errors(rng, made.n, rng.integers(made.t + 1, made.n, len(word)))
    decoded, corrected = made.decode(received)
    distance = (made.encode(decoded) ^ received).sum(axis=1)
    assert (distance[corrected] <= made.t).all()
    assert (decoded[corrected] != message[corrected]).any(axis=1).all()
    assert np.array_equal(decoded[~corrected], received[~corrected, : made.k])


def test_bch_finds_exactly_the_words_that_lie_within_t_of_a_codeword() -> None:
    made = bch(15, 7)
    words = all_words(15)
    within = np.zeros(2**15, bool)
    codewords = made.encode(all_words(7)) @ (1 << np.arange(15)[::-1])
    for weight in range(3):
        for where in combinations(range(15), weight):
            within[codewords ^ sum(1 << position for position in where)] = True
    assert within.sum() == 2**7 * (1 + 15 + 105)
    assert np.array_equal(made.decode(words)[1], within)


@settings(max_examples=60, deadline=None)
@given(data=st.data(), name=st.sampled_from(SMALL + LARGE))
def test_decoding_undoes_encoding(data: st.DataObject, name: str) -> None:
    made = code(name)
    bits = st.integers(0, 1)
    message = np.array(data.draw(st.lists(bits, min_size=made.k, max_size=made.k)), np.uint8)
    where = data.draw(st.sets(st.integers(0, made.n - 1), max_size=made.t))
    word = made.encode(message)
    word[list(where)] ^= 1
    decoded, corrected = made.decode(word)
    assert corrected
    assert np.array_equal(decoded, message)


@pytest.mark.parametrize("name", SMALL + LARGE)
def test_words_are_decoded_independently_and_axes_kept(name: str) -> None:
    made = code(name)
    words = np.random.default_rng(4).integers(0, 2, (20_000, made.n), dtype=np.uint8)
    message, corrected = made.decode(words)
    for part in (slice(0, 1), slice(7, 2055), slice(16_380, 16_390)):
        again, ok = made.decode(words[part])
        assert np.array_equal(again, message[part])
        assert np.array_equal(ok, corrected[part])
    stacked, ok = made.decode(words.reshape(4, 5000, made.n))
    assert np.array_equal(stacked.reshape(-1, made.k), message)
    assert ok.shape == (4, 5000)
    empty, none = made.decode(words[:0])
    assert (empty.shape, none.shape) == ((0, made.k), (0,))


def test_repetition_of_even_length_does_not_decide_a_tie() -> None:
    message, corrected = repetition(4).decode(np.array([[1, 1, 0, 0], [1, 1, 1, 0]], np.uint8))
    assert corrected.tolist() == [False, True]
    assert message[1, 0] == 1


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: code("golay-24-13"), "nearest is 'golay-24-12'"),
        (lambda: bch(128, 64), "15, 31, 63, 127, 255"),
        (lambda: bch(127, 65), "one of 120, 113"),
        (lambda: hamming(9), "2 to 8"),
        (lambda: repetition(1), "at least 2"),
        (lambda: golay24().decode(np.zeros((2, 23), np.uint8)), "24 long"),
        (lambda: golay24().encode(np.zeros((2, 24), np.uint8)), "12 long"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()


def test_bch_dimensions_are_those_of_the_published_table_for_31() -> None:
    # Lin and Costello (1983) (from memory); the repetition code is left out
    assert bch_dimensions(31) == {26: 1, 21: 2, 16: 3, 11: 5, 6: 7}
