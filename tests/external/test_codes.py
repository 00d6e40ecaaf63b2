"""Codes against published parameters and the independent implementation of the galois package."""

from __future__ import annotations

from math import comb

import galois
import numpy as np
import pytest

from harness.gf2 import all_words
from schemes.codes import bch, bch_dimensions, golay23, golay24, hamming

# Lin and Costello, Error Control Coding (1983), tables of BCH codes and of their generator polynomials,
# octal (from memory); galois gives the same, as tested here.
PUBLISHED = {
    (15, 7): (2, 0o721),
    (31, 16): (3, 0o107657),
    (63, 45): (3, 0o1701317),
    (63, 30): (6, 0o157464165547),
    (63, 18): (10, None),
    (127, 71): (9, None),
    (127, 64): (10, None),
    (127, 36): (15, None),
    (255, 139): (15, None),
    (255, 131): (18, None),
    (255, 123): (19, None),
    (255, 47): (42, None),
}
PRIMITIVE = {15: 0o23, 31: 0o45, 63: 0o103, 127: 0o211, 255: 0o435}


def oracle(n: int, k: int) -> galois.BCH:
    """In plain Python: compiling a field takes longer than these tests."""
    modulus = galois.Poly.Int(PRIMITIVE[n])
    field = galois.GF(n + 1, irreducible_poly=modulus, compile="python-calculate")
    return galois.BCH(n, k, extension_field=field)


@pytest.mark.parametrize(("n", "k"), PUBLISHED)
def test_bch_is_the_published_code(n: int, k: int) -> None:
    ours, theirs, (t, polynomial) = bch(n, k), oracle(n, k), PUBLISHED[n, k]
    assert ours.t == theirs.t == t
    assert ours.polynomial == int(theirs.generator_poly)
    assert polynomial is None or ours.polynomial == polynomial
    assert np.array_equal(ours.generator, np.asarray(theirs.G))


@pytest.mark.parametrize(
    ("n", "known"), [(15, {11: 1, 7: 2, 5: 3}), (31, {26: 1, 21: 2, 16: 3, 11: 5, 6: 7})]
)
def test_dimensions_are_those_that_galois_documents(n: int, known: dict[int, int]) -> None:
    """galois 0.1.2, reference of bch_valid_codes and BCH; the repetition code is left out."""
    assert bch_dimensions(n) == known


@pytest.mark.parametrize(("n", "k"), [(63, 30), (127, 64)])
def test_bch_decodes_alike(n: int, k: int) -> None:
    ours, theirs = bch(n, k), oracle(n, k)
    rng = np.random.default_rng(n * k)
    messages = rng.integers(0, 2, (40, k), dtype=np.uint8)
    words = ours.encode(messages)
    assert np.array_equal(words, np.asarray(theirs.encode(messages)))
    flips = rng.random(words.shape) < (ours.t + 1) / n
    decoded, corrected = ours.decode(words ^ flips)
    expected, found = theirs.decode(words ^ flips, errors=True)
    assert np.array_equal(corrected, np.asarray(found) >= 0)
    assert corrected.any()
    assert not corrected.all()
    assert np.array_equal(decoded[corrected], np.asarray(expected)[corrected])


# MacWilliams and Sloane, The Theory of Error-Correcting Codes (1977) (from memory).
@pytest.mark.parametrize(
    ("ours", "weights"),
    [
        (golay23(), {0: 1, 7: 253, 8: 506, 11: 1288, 12: 1288, 15: 506, 16: 253, 23: 1}),
        (golay24(), {0: 1, 8: 759, 12: 2576, 16: 759, 24: 1}),
        (hamming(3), {0: 1, 3: 7, 4: 7, 7: 1}),
    ],
    ids=lambda x: getattr(x, "name", ""),
)
def test_weights_are_the_published_ones_by_products_in_galois(ours, weights: dict[int, int]) -> None:
    words = np.asarray(galois.GF2(all_words(ours.k)) @ galois.GF2(ours.generator))
    assert np.array_equal(words, ours.encode(all_words(ours.k)))
    found = np.bincount(words.sum(axis=1))
    assert {w: int(c) for w, c in enumerate(found) if c} == weights


def test_golay_is_the_perfect_cyclic_code() -> None:
    """1 + 23 + 253 + 1771 = 2^11 errors; the generator 6165 (octal) divides x^23 + 1."""
    assert golay23().polynomial == 0o6165
    assert [comb(23, w) for w in range(4)] == [1, 23, 253, 1771]
    assert sum(comb(23, w) for w in range(4)) == 2**11
    assert galois.Poly.Degrees([23, 0]) % galois.Poly.Int(0o6165) == galois.Poly.Zero()


@pytest.mark.parametrize("ours", [golay23(), hamming(3), hamming(4)])
def test_encoding_is_polynomial_division(ours) -> None:
    """A systematic word is a multiple of the generator polynomial."""
    generator = galois.Poly.Int(ours.polynomial)
    messages = np.random.default_rng(1).integers(0, 2, (20, ours.k), dtype=np.uint8)
    for word in ours.encode(messages):
        assert galois.Poly(galois.GF2(word)) % generator == galois.Poly.Zero()


def test_parity_check_matrix_has_the_null_space_of_the_generator() -> None:
    for made in (golay23(), bch(63, 30)):
        parity = galois.GF2(made.parity)
        assert not np.asarray(galois.GF2(made.generator) @ parity.T).any()
        assert np.linalg.matrix_rank(parity) == made.n - made.k
