"""Linear algebra over GF(2) against its definitions."""

from __future__ import annotations

import galois
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.gf2 import all_words, most_reliable_basis, product, solver
from schemes.codes import golay23, hamming


def test_all_words_in_counting_order() -> None:
    assert all_words(2).tolist() == [[0, 0], [0, 1], [1, 0], [1, 1]]
    assert all_words(0).shape == (1, 0)


@settings(max_examples=100, deadline=None)
@given(seed=st.integers(0, 2**32), r=st.integers(1, 8), n=st.integers(1, 12))
def test_solutions_are_a_particular_word_plus_the_null_space(seed: int, r: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    parity = rng.integers(0, 2, (r, n), dtype=np.uint8)
    found = solver(parity)
    assert found.dimension == n - np.linalg.matrix_rank(galois.GF2(parity))
    assert not product(found.basis, parity.T).any()
    assert np.array_equal(found.basis[:, found.free], np.eye(found.dimension))
    words = rng.integers(0, 2, (5, n), dtype=np.uint8)
    syndrome = product(words, parity.T)
    particular = found.particular(syndrome)
    assert np.array_equal(product(particular, parity.T), syndrome)
    assert not particular[:, found.free].any()
    # the free positions of what is left spell its place in the null space
    left = words ^ particular
    assert np.array_equal(product(left[:, found.free], found.basis), left)


def test_the_null_space_of_a_parity_check_is_the_code() -> None:
    code = golay23()
    words = product(all_words(12), solver(code.parity).basis)
    weights = np.bincount(words.sum(axis=1), minlength=24)
    # weights of the binary Golay code
    assert {w: c for w, c in enumerate(weights.tolist()) if c} == {
        0: 1, 7: 253, 8: 506, 11: 1288, 12: 1288, 15: 506, 16: 253, 23: 1,
    }  # fmt: skip


def test_product_is_exact_for_many_ones() -> None:
    ones = np.ones((1, 5001), np.uint8)
    assert product(ones, ones.T).tolist() == [[1]]


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_the_most_reliable_basis_is_the_greedy_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    generator = hamming(3).generator
    order = rng.permuted(np.broadcast_to(np.arange(7), (6, 7)), axis=1)
    systematic, positions = most_reliable_basis(generator, order)
    for word in range(6):
        chosen: list[int] = []
        for column in order[word].tolist():
            if np.linalg.matrix_rank(galois.GF2(generator[:, [*chosen, column]])) > len(chosen):
                chosen.append(column)
        assert positions[word].tolist() == chosen[:4]
        assert np.array_equal(systematic[word][:, positions[word]], np.eye(4))
        assert not product(systematic[word], hamming(3).parity.T).any()
