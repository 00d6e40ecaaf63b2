"""Reed-Solomon codes against the independent implementation of the galois package."""

from __future__ import annotations

import galois
import numpy as np
import pytest

from schemes.codes import bch, bch_dimensions, reed_solomon
from schemes.codes.field import PRIMITIVE, field
from schemes.codes.reed_solomon import to_bits, to_symbols


def field_of(m: int) -> type[galois.FieldArray]:
    """In plain Python: compiling a field takes longer than these tests."""
    modulus = galois.Poly.Int(PRIMITIVE[m])
    return galois.GF(2**m, irreducible_poly=modulus, primitive_element=2, compile="python-calculate")


@pytest.mark.parametrize("m", [3, 8, 10, 16])
def test_products_are_those_of_galois(m: int) -> None:
    assert galois.Poly.Int(PRIMITIVE[m]).is_primitive()
    a, b = np.random.default_rng(m).integers(1, 2**m, (2, 50))
    theirs = field_of(m)
    assert np.array_equal(field(m).times(a, b), np.asarray(theirs(a) * theirs(b)))
    assert np.array_equal(field(m).inverses[a], np.asarray(theirs(1) / theirs(a)))


@pytest.mark.parametrize(("symbols", "message_symbols"), [(7, 3), (15, 9), (31, 19)])
def test_code_is_that_of_galois(symbols: int, message_symbols: int) -> None:
    ours = reed_solomon(symbols, message_symbols)
    over = field_of(ours.m)
    theirs = galois.ReedSolomon(symbols, message_symbols, field=over)
    assert list(ours.polynomial) == np.asarray(theirs.generator_poly.coeffs).tolist()
    rng = np.random.default_rng(symbols)
    messages = rng.integers(0, 2, (12, ours.k), dtype=np.uint8)
    words = to_symbols(ours.encode(messages), ours.m)
    assert np.array_equal(words, np.asarray(theirs.encode(over(to_symbols(messages, ours.m)))))
    noise = rng.integers(1, 2**ours.m, words.shape) * (rng.random(words.shape) < (ours.t + 1) / symbols)
    received = words ^ noise.astype(np.uint8)
    decoded, corrected = ours.decode(to_bits(received, ours.m))
    expected, found = theirs.decode(over(received), errors=True, output="codeword")
    # galois 0.4.11 at times claims a correction that gives no codeword, which is none
    sound = ~np.asarray(expected @ theirs.H.T).any(axis=1)
    assert np.array_equal(corrected, (np.asarray(found) >= 0) & sound)
    assert corrected.any()
    assert not corrected.all()
    assert np.array_equal(
        to_symbols(decoded, ours.m)[corrected], np.asarray(expected)[corrected, :message_symbols]
    )


def test_shortened_code_is_that_of_galois() -> None:
    ours = reed_solomon(10, 6)
    over = field_of(4)
    theirs = galois.ReedSolomon(15, 11, field=over)
    messages = np.random.default_rng(2).integers(0, 2, (20, ours.k), dtype=np.uint8)
    words = to_symbols(ours.encode(messages), 4)
    assert np.array_equal(words, np.asarray(theirs.encode(over(to_symbols(messages, 4)))))


# Lin and Costello, Error Control Coding, appendix of BCH codes (from memory).
@pytest.mark.parametrize(
    ("n", "k", "t"),
    [(511, 502, 1), (511, 493, 2), (511, 259, 30), (511, 250, 31), (1023, 923, 10), (1023, 513, 57)],
)
def test_long_bch_codes_have_published_dimensions(n: int, k: int, t: int) -> None:
    assert bch_dimensions(n)[k] == bch(n, k).t == t


def test_generator_polynomial_of_a_long_bch_code_is_that_of_galois() -> None:
    """A product of the minimal polynomials of the first odd powers."""
    over = field_of(9)
    expected = galois.Poly.One(galois.GF2)
    for power in range(1, 2 * 5, 2):
        expected *= (over(2) ** power).minimal_poly()
    assert bch(511, 466).polynomial == int(expected)
