"""Reed-Solomon codes: published polynomials, the largest distance, what errors and erasures they bear."""

from __future__ import annotations

from itertools import combinations
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array
from schemes import gf2
from schemes.codes import ReedSolomon, code, reed_solomon
from schemes.codes.field import PRIMITIVE, field
from schemes.codes.reed_solomon import to_bits, to_symbols

MADE = (
    reed_solomon(7, 3),
    reed_solomon(15, 9),
    reed_solomon(15, 8),
    reed_solomon(12, 6, 5),
    reed_solomon(31, 15),
    reed_solomon(40, 20, 8),
)
every_code = pytest.mark.parametrize("made", MADE, ids=lambda c: c.name)


def spoilt(
    rng: np.random.Generator, symbols: Array, m: int, errors: Array, erasures: Array
) -> tuple[Array, Array]:
    """Order of spoiling, and symbols: the first `erasures` made anything, the next `errors` wrong."""
    order = rng.random(symbols.shape).argsort(axis=1).argsort(axis=1)
    wrong = (order >= erasures[:, None]) & (order < (erasures + errors)[:, None])
    noise = np.where(wrong, rng.integers(1, 2**m, symbols.shape), 0)
    noise = np.where(order < erasures[:, None], rng.integers(0, 2**m, symbols.shape), noise)
    return order, (symbols ^ noise).astype(np.uint8)


def random_symbols(made: ReedSolomon, rng: np.random.Generator, count: int) -> tuple[Array, Array]:
    message = rng.integers(0, 2, (count, made.k), dtype=np.uint8)
    return message, to_symbols(made.encode(message), made.m)


@pytest.mark.parametrize("m", PRIMITIVE)
def test_the_polynomials_are_primitive(m: int) -> None:
    made = field(m)
    assert len(np.unique(made.exp)) == made.n
    rng = np.random.default_rng(m)
    a, b, c = rng.integers(0, made.n + 1, (3, 200))
    assert np.array_equal(made.times(made.times(a, b), c), made.times(a, made.times(b, c)))
    assert np.array_equal(made.times(a, b ^ c), made.times(a, b) ^ made.times(a, c))
    nonzero = a[a > 0]
    assert (made.times(nonzero, made.inverses[nonzero]) == 1).all()
    assert np.array_equal(made.power(a, 3), made.times(a, made.times(a, a)))
    assert made.power(np.array([0, 5 % made.n]), 0).tolist() == [1, 1]


# (15, 9): Lin and Costello, Error Control Coding (1983) (from memory). (255, 245): the published polynomial
# of ten checks in ISO/IEC 18004 (from memory, as exponents) has the zeros 1, a, a^2, ...; ours are a
# times those, so the coefficient of x^(10 - i) has i more in its exponent.
@pytest.mark.parametrize(
    ("made", "exponents"),
    [
        (reed_solomon(7, 3), [0, 3, 0, 1, 3]),
        (reed_solomon(15, 9), [0, 10, 14, 4, 6, 9, 6]),
        (
            reed_solomon(255, 245),
            [e + i for i, e in enumerate([0, 251, 67, 46, 61, 118, 70, 64, 94, 32, 45])],
        ),
    ],
    ids=lambda x: getattr(x, "name", ""),
)
def test_generator_polynomial_is_the_published_one(made: ReedSolomon, exponents: list[int]) -> None:
    assert [int(field(made.m).log[c]) for c in made.polynomial] == exponents


@pytest.mark.parametrize(
    "made", [reed_solomon(7, 3), reed_solomon(7, 5), reed_solomon(6, 3)], ids=lambda c: c.name
)
def test_weights_are_those_of_a_code_of_largest_distance(made: ReedSolomon) -> None:
    """MacWilliams and Sloane (1977), chapter 11 (formula from memory); it holds for any such code."""
    words = to_symbols(made.encode(all_words(made.k)), made.m)
    found = np.bincount((words > 0).sum(axis=1), minlength=made.symbols + 1)
    distance, size = made.checks + 1, 2**made.m
    expected = [1] + [0] * made.symbols
    for weight in range(distance, made.symbols + 1):
        inner = sum(
            (-1) ** j * comb(weight - 1, j) * size ** (weight - distance - j)
            for j in range(weight - distance + 1)
        )
        expected[weight] = comb(made.symbols, weight) * (size - 1) * inner
    assert found.tolist() == expected


def all_words(bits: int) -> Array:
    return (np.arange(2**bits)[:, None] >> np.arange(bits)[::-1] & 1).astype(np.uint8)


@every_code
def test_binary_matrices_fit(made: ReedSolomon) -> None:
    assert (made.generator.shape, made.parity.shape) == ((made.k, made.n), (made.n - made.k, made.n))
    assert np.array_equal(made.generator[:, : made.k], np.eye(made.k))
    assert not gf2.product(made.generator, made.parity.T).any()
    assert gf2.rank(made.parity) == made.n - made.k


@every_code
def test_symbols_of_a_word_are_those_of_a_polynomial_with_the_right_zeros(made: ReedSolomon) -> None:
    _, symbols = random_symbols(made, np.random.default_rng(1), 50)
    over = field(made.m)
    for power in range(1, made.checks + 1):
        value = np.zeros(len(symbols), np.uint8)
        for column in symbols.T:
            value = over.times(value, over.exp[power % over.n]) ^ column
        assert not value.any()


@settings(max_examples=60, deadline=None)
@given(data=st.data(), made=st.sampled_from(MADE))
def test_errors_and_erasures_within_reach_are_corrected(data: st.DataObject, made: ReedSolomon) -> None:
    erasures = data.draw(st.integers(0, made.checks))
    errors = data.draw(st.integers(0, (made.checks - erasures) // 2))
    rng = np.random.default_rng(data.draw(st.integers(0, 2**32)))
    message, sent = random_symbols(made, rng, 4)
    full = np.full(4, 1)
    order, received = spoilt(rng, sent, made.m, errors * full, erasures * full)
    decoded, corrected = made.decode_erased(to_bits(received, made.m), order < erasures)
    assert corrected.all()
    assert np.array_equal(decoded, message)


def test_a_symbol_is_corrected_however_many_of_its_bits_are_wrong() -> None:
    made = code("reed-solomon-15-9")
    word = made.encode(np.zeros((1, made.k), np.uint8))
    word[0, 0:4] = word[0, 20:24] = word[0, 56:60] = 1
    decoded, corrected = made.decode(word)
    assert corrected.all()
    assert not decoded.any()


@pytest.mark.parametrize(
    "made", [reed_solomon(7, 5), reed_solomon(7, 3), reed_solomon(6, 3)], ids=lambda c: c.name
)
def test_exactly_the_words_within_t_symbols_are_decoded(made: ReedSolomon) -> None:
    """Every coset once: those led by at most t wrong symbols, and no other."""
    cosets = np.zeros((2 ** (made.n - made.k), made.n), np.uint8)
    cosets[:, made.k :] = all_words(made.n - made.k)
    decoded, corrected = made.decode(cosets)
    size = 2**made.m
    assert corrected.sum() == sum(comb(made.symbols, w) * (size - 1) ** w for w in range(made.t + 1))
    apart = to_symbols(made.encode(decoded) ^ cosets, made.m)
    assert ((apart > 0).sum(axis=1)[corrected] <= made.t).all()
    assert np.array_equal(decoded[~corrected], cosets[~corrected, : made.k])


@every_code
def test_beyond_reach_a_word_is_rejected_or_taken_for_another_within_t(made: ReedSolomon) -> None:
    rng = np.random.default_rng(3)
    message, sent = random_symbols(made, rng, 2000)
    errors = rng.integers(made.t + 1, made.symbols + 1, len(sent))
    _, received = spoilt(rng, sent, made.m, errors, np.zeros(len(sent), int))
    decoded, corrected = made.decode(to_bits(received, made.m))
    apart = to_symbols(made.encode(decoded), made.m) != received
    assert (apart.sum(axis=1)[corrected] <= made.t).all()
    assert (decoded[corrected] != message[corrected]).any(axis=1).all()
    assert (~corrected).any()


def test_one_erasure_more_than_checks_is_not_decoded() -> None:
    made = reed_solomon(15, 9)
    word = made.encode(np.ones((1, made.k), np.uint8))
    for lost in (6, 7):
        erased = np.arange(15)[None] < lost
        assert made.decode_erased(word, erased)[1].item() == (lost == 6)


def test_every_place_of_a_shortened_code_is_corrected() -> None:
    made = reed_solomon(9, 5)
    message, sent = random_symbols(made, np.random.default_rng(8), 1)
    for where in combinations(range(9), 2):
        received = sent.copy()
        received[0, list(where)] ^= 9
        decoded, corrected = made.decode(to_bits(received, made.m))
        assert corrected.all()
        assert np.array_equal(decoded, message)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: reed_solomon(16, 8, 4), "3 to 15, got 16"),
        (lambda: reed_solomon(300, 8), "3 to 8 bits a symbol, got 9"),
        (lambda: reed_solomon(15, 14), "1 to 13, got 14"),
        (lambda: reed_solomon(15, 9.0), r"whole number, got 9\.0"),  # type: ignore[arg-type]
        (lambda: reed_solomon(15, 0), "1 to 13, got 0"),
        (lambda: reed_solomon(15, 9).decode(np.zeros((2, 15), np.uint8)), "60 long"),
        (lambda: code("reed-solomon-16-9-gf16"), "3 to 15, got 16.*nearest is"),
        (lambda: code("reed-solomon-15-9-gf15"), "nearest is 'reed-solomon-15-9'"),
        (lambda: field(17), "2 to 16, got 17"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()


def test_names_say_the_field_only_where_it_is_not_the_smallest() -> None:
    for name in ("reed-solomon-20-12", "reed-solomon-20-12-gf256", "reed-solomon-7-3-gf16"):
        assert code(name).name == name
    assert code("reed-solomon-20-12-gf32").name == "reed-solomon-20-12"
