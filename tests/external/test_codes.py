"""Codes against the independent implementation of the galois package."""

from __future__ import annotations

from collections.abc import Iterator

import galois
import numba
import numpy as np
import pytest

from schemes.codes import bch, golay23, hamming

PRIMITIVE = {63: 0o103, 127: 0o211}


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    """The oracle's threads wait for each other where tests run side by side."""
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    yield
    numba.set_num_threads(before)


def oracle(n: int, k: int) -> galois.BCH:
    field = galois.GF(n + 1, irreducible_poly=galois.Poly.Int(PRIMITIVE[n]))
    return galois.BCH(n, k, extension_field=field)


@pytest.mark.parametrize(("n", "k"), [(63, 30), (127, 64)])
def test_bch_is_the_same_code_and_decodes_alike(n: int, k: int) -> None:
    ours, theirs = bch(n, k), oracle(n, k)
    assert ours.t == theirs.t
    assert ours.polynomial == int(theirs.generator_poly)
    assert np.array_equal(ours.generator, np.asarray(theirs.G))
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
