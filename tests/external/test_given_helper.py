"""What helper data leave of a key, against closed forms, published bounds and plain enumeration.

The figures for Golay blocks are given to the digits to which they were first tabulated, from enumerating
all words of a block without any code of this project; beside them the same is enumerated here, with the
syndromes of the galois package.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from math import comb

import galois
import numba
import numpy as np
import pytest

from harness.contracts import Array
from harness.estimators.entropy.block_words import crude_bounds, guess_odds, possible_words
from harness.estimators.entropy.given_helper import average_min_entropy
from harness.estimators.entropy.joint_min_entropy import block_min_entropies, joint_min_entropy
from harness.estimators.entropy.sampled_min_entropy import sampled_min_entropy
from harness.estimators.entropy.symbol_chains import SymbolChain, independent_symbols, stationary_chain
from harness.streams import stream
from schemes.codes import golay23, hamming

BIT = np.array([[0], [1]], np.uint8)
TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
PARITY = golay23().parity


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    """The oracle's threads wait for each other where tests run side by side."""
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    yield
    numba.set_num_threads(before)


def steady(share: float, symbols: int) -> SymbolChain:
    """Three symbols, each as the one before with this share, else one of the other two."""
    step = np.full((3, 3), (1 - share) / 2)
    np.fill_diagonal(step, share)
    return stationary_chain(step, symbols)


SOURCES = {
    "uniform bits": (BIT, independent_symbols(np.full((23, 2), 0.5))),
    "bits at .3": (BIT, independent_symbols(np.tile([0.7, 0.3], (23, 1)))),
    "ternary": (TERNARY, independent_symbols(np.full((12, 3), 1 / 3))),
    "stays with .5": (TERNARY, steady(0.5, 12)),
    "stays with .7": (TERNARY, steady(0.7, 12)),
    "stays with .9": (TERNARY, steady(0.9, 12)),
}
TABLE = {  # entropy - 11, min-entropy - 11, exact; odds at 1 and at 10 guesses
    "uniform bits": (12, 12, 12.0, 0.00024, None),
    "bits at .3": (9.27, 0.84, 4.22, 0.054, None),
    "ternary": (7.35, 7.02, 7.02, 0.0077, 0.077),
    "stays with .5": (6.46, 1.00, 3.69, 0.078, 0.339),
    "stays with .7": (3.10, -4.03, 1.32, 0.401, 0.821),
    "stays with .9": (-3.38, -7.82, 0.41, 0.752, 0.997),
}


@pytest.mark.parametrize("source", sorted(SOURCES))
def test_what_a_golay_block_leaves(source: str) -> None:
    """To the last digit given: half a unit of it."""
    labels, chain = SOURCES[source]
    shannon, least, exact, one, ten = TABLE[source]
    positions = np.arange(23)
    words = possible_words(PARITY, positions, labels, chain)
    assert words.probability.sum() == pytest.approx(1, abs=1e-9)
    found = crude_bounds(words, 11)
    assert found == pytest.approx((shannon, least), abs=0.005)
    left = joint_min_entropy(PARITY, positions[None], labels, chain)
    assert left == pytest.approx(exact, abs=0.005)
    odds = guess_odds(words, [1, 10])
    assert odds[0] == pytest.approx(2**-left, rel=1e-9)
    digits = {0.00024: 5e-6, 0.0077: 5e-5, 0.077: 5e-4}
    assert odds[0] == pytest.approx(one, abs=digits.get(one, 5e-4))
    if ten is not None:
        assert odds[1] == pytest.approx(ten, abs=5e-4)
    # entropy minus parities is no bound of a guess, min-entropy minus parities is one
    assert found[1] <= left + 1e-9
    if source.startswith("stays"):
        assert abs(found[0] - left) > 1.5
        share = float(source[-2:])  # likeliest: one symbol eleven times and the first bit of a twelfth
        likeliest = share**10 * (share + (1 - share) / 2) / 3
        assert found[1] == pytest.approx(-np.log2(likeliest) - 11, abs=1e-9)


def test_twelve_blocks_of_a_dependent_source_do_not_add() -> None:
    """Together .81 bit where the sum is 4.92; 11.9 where it is 15.8."""
    positions = np.arange(276).reshape(12, 23)
    for share, together, summed in ((0.9, 0.81, 4.92), (0.7, 11.9, 15.8)):
        chain = steady(share, 138)
        digit = 0.0051 if share == 0.9 else 0.051
        assert joint_min_entropy(PARITY, positions, TERNARY, chain) == pytest.approx(together, abs=digit)
        alone = block_min_entropies(PARITY, positions, TERNARY, chain)
        assert alone.sum() == pytest.approx(summed, abs=digit)
        found = sampled_min_entropy(PARITY, positions, TERNARY, chain, rng=stream(0, "draws"), draws=500)
        assert found.low <= joint_min_entropy(PARITY, positions, TERNARY, chain) <= found.high
        assert found.high - found.low < 0.2


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_a_block_by_plain_enumeration_with_syndromes_of_another_package(share: float) -> None:
    step = steady(share, 12).steps[0]
    symbols = np.array(list(itertools.product(range(3), repeat=12)))
    p = np.full(len(symbols), 1 / 3)
    for t in range(11):
        p = p * step[symbols[:, t], symbols[:, t + 1]]
    bits = TERNARY[symbols].reshape(len(symbols), 24)[:, :23]
    keys, index = np.unique(bits @ (1 << np.arange(23)), return_inverse=True)  # the last symbol is cut
    p = np.bincount(index.ravel(), p)
    bits = ((keys[:, None] >> np.arange(23)) & 1).astype(np.uint8)
    # x^11 + x^9 + x^7 + x^6 + x^5 + x + 1 or its mirror: the code of our own parity matrix
    generator = galois.GF2(golay23().generator)
    parity = generator.null_space()
    syndrome = np.asarray(galois.GF2(bits) @ parity.T).astype(np.int64) @ (1 << np.arange(11))
    best = np.zeros(1 << 11)
    np.maximum.at(best, syndrome, p)
    found = joint_min_entropy(PARITY, np.arange(23)[None], TERNARY, steady(share, 12))
    assert found == pytest.approx(-np.log2(best.sum()), abs=1e-12)


@pytest.mark.slow
def test_the_whole_key_by_drawing_words_and_adding_over_their_cosets() -> None:
    """Twelve blocks, stays with .9: the mean posterior of the likeliest word, over words drawn.

    Tables of a block are enumerated; between blocks, sums and maxima go along the symbols at the borders.
    """
    step, rng = steady(0.9, 2).steps[0], stream(0, "words")
    draws = 40_000
    tables = [_enumerated(step, straddles) for straddles in (False, True)]
    walk = np.zeros((draws, 138), np.intp)
    walk[:, 0] = rng.integers(0, 3, draws)
    upto = step.cumsum(axis=1)
    for t in range(1, 138):
        walk[:, t] = (rng.random(draws)[:, None] > upto[walk[:, t - 1], :2]).sum(axis=1)
    blocks = TERNARY[walk].reshape(draws, 12, 23)
    syndromes = (blocks @ PARITY.T % 2).astype(np.int64) @ (1 << np.arange(11))
    # the first symbol is uniform; later ones are entered from the block before
    total, best = (table[:, syndromes[:, 0]] for table in _grouped(np.full(3, 1 / 3), step, lead=None))
    for b in range(1, 12):
        sums, most = (table[:, :, syndromes[:, b]] for table in tables[b % 2])
        total = (total[:, None] * sums).sum(axis=0)
        best = (best[:, None] * most).max(axis=0)
    odds = best.max(axis=0) / total.sum(axis=0)
    exact = 2 ** -joint_min_entropy(PARITY, np.arange(276).reshape(12, 23), TERNARY, steady(0.9, 138))
    assert odds.mean() == pytest.approx(exact, abs=4 * odds.std() / np.sqrt(draws))


def _enumerated(step: Array, straddles: bool) -> tuple[Array, Array]:
    """(symbol before, last symbol, syndrome) of a later block, which ends or begins with half a symbol."""
    parts = [_grouped(step[x], step, lead=x if straddles else None) for x in range(3)]
    return np.stack([s for s, _ in parts]), np.stack([m for _, m in parts])


def _grouped(start: Array, step: Array, *, lead: int | None) -> tuple[Array, Array]:
    count = 11 if lead is not None else 12
    symbols = np.array(list(itertools.product(range(3), repeat=count)))
    p = start[symbols[:, 0]]
    for t in range(count - 1):
        p = p * step[symbols[:, t], symbols[:, t + 1]]
    bits = TERNARY[symbols].reshape(len(symbols), -1)
    if lead is None:
        bits = bits[:, :23]
    else:
        bits = np.pad(bits, ((0, 0), (1, 0)), constant_values=TERNARY[lead, 1])
    syndrome = (bits @ PARITY.T % 2).astype(np.int64) @ (1 << np.arange(11))
    sums, most = np.zeros((3, 1 << 11)), np.zeros((3, 1 << 11))
    np.add.at(sums, (symbols[:, -1], syndrome), p)
    np.maximum.at(most, (symbols[:, -1], syndrome), p)
    return sums, most


@pytest.mark.parametrize(("p", "bits"), [(0.5, 4.0), (0.6, 2.656259), (0.9, 0.233947)])
def test_what_a_syndrome_of_hamming_7_4_leaves_of_biased_bits(p: float, bits: float) -> None:
    """The code is perfect: one word of at most one 0 for every syndrome, p^7 + 7 p^6 (1 - p) in all."""
    assert -np.log2(p**7 + 7 * p**6 * (1 - p)) == pytest.approx(bits, abs=5e-7)
    chain = independent_symbols(np.tile([1 - p, p], (7, 1)))
    parity = hamming(3).parity
    assert joint_min_entropy(parity, np.arange(7)[None], BIT, chain) == pytest.approx(bits, abs=5e-7)
    assert average_min_entropy(parity, [np.array([1 - p, p])] * 7) == pytest.approx(bits, abs=5e-7)
    words = possible_words(parity, np.arange(7), BIT, chain)
    assert guess_odds(words, [1])[0] == pytest.approx(2**-bits, abs=5e-7)


def test_a_sketch_leaves_at_least_min_entropy_less_its_length() -> None:
    """Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008): m - (n - k) at least."""
    rng = stream(0, "sketch")
    for parity in (hamming(3).parity, PARITY):
        r, n = parity.shape
        for _ in range(20):
            shares = rng.dirichlet([0.8, 0.8], n)
            m = -np.log2(shares.max(axis=1)).sum()
            left = joint_min_entropy(parity, np.arange(n)[None], BIT, independent_symbols(shares))
            assert max(0, m - r) - 1e-9 <= left <= min(m, n - r) + 1e-9
        uniform = independent_symbols(np.full((n, 2), 0.5))
        left = joint_min_entropy(parity, np.arange(n)[None], BIT, uniform)
        assert left == pytest.approx(n - r, abs=1e-12)


def test_a_guess_at_a_perfect_code_is_right_for_up_to_three_errors() -> None:
    """Golay's cosets are led by the words of weight 0 to 3, 1 + 23 + 253 + 1771 = 2^11 of them."""
    p = 0.3
    chain = independent_symbols(np.tile([1 - p, p], (23, 1)))
    expected = sum(comb(23, w) * p**w * (1 - p) ** (23 - w) for w in range(4))
    left = joint_min_entropy(PARITY, np.arange(23)[None], BIT, chain)
    assert 2**-left == pytest.approx(expected, abs=1e-12)
