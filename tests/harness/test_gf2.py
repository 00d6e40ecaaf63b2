"""Linear algebra over GF(2) against its definitions."""

from __future__ import annotations

import galois
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.gf2 import (
    all_words,
    most_reliable_basis,
    packed_columns,
    product,
    row_numbers,
    solver,
    unpacked,
)
from schemes import gf2
from schemes.codes import golay23


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
@given(seed=st.integers(0, 2**32), k=st.integers(1, 150))
def test_packed_columns_come_back(seed: int, k: int) -> None:
    matrix = np.random.default_rng(seed).integers(0, 2, (k, 5), dtype=np.uint8)
    columns = packed_columns(matrix)
    assert columns.shape == (-(-k // 64), 5)
    assert np.array_equal(unpacked(columns.T, k), matrix.T)
    assert row_numbers(packed_columns(np.eye(k, dtype=np.uint8))).tolist() == list(range(k))


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32), k=st.sampled_from([1, 4, 63, 64, 65, 130]))
def test_the_most_reliable_basis_is_the_greedy_one(seed: int, k: int) -> None:
    rng = np.random.default_rng(seed)
    n = k + 6
    code = np.concatenate([np.eye(k, dtype=np.uint8), rng.integers(0, 2, (k, 6), dtype=np.uint8)], axis=1)
    # any generator of the code, its positions in any place
    mixing = np.triu(rng.integers(0, 2, (k, k), dtype=np.uint8), 1) + np.eye(k, dtype=np.uint8)
    generator = product(mixing, code)[:, rng.permutation(n)]
    order = rng.permuted(np.broadcast_to(np.arange(n), (3, n)), axis=1)
    systematic, basis = most_reliable_basis(generator, order)
    for word in range(3):
        columns = generator[:, order[word]]
        work, chosen = np.zeros((0, k), np.uint8), []
        for j in range(n):
            longer = np.vstack([work, columns[:, j]])
            if len(chosen) < k and gf2.rank(longer) > len(work):
                work, chosen = longer, [*chosen, j]
        assert np.flatnonzero(basis[:, word]).tolist() == chosen
        found = unpacked(systematic[:, :, word].T, k).T
        rows = found[:, chosen].argmax(axis=0)
        assert np.array_equal(found[rows][:, chosen], np.eye(k))
        # the same code: each row of the generator is the sum of rows that its bits in the basis say
        assert np.array_equal(product(columns[:, chosen], found[rows]), columns)
