"""What a dependent source leaves of several blocks together: against enumeration of every word."""

from __future__ import annotations

import itertools
from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.block_words import crude_bounds, guess_odds, possible_words
from harness.estimators.entropy.given_helper import average_min_entropy, pattern_slots
from harness.estimators.entropy.joint_min_entropy import (
    block_min_entropies,
    connected_blocks,
    joint_min_entropy,
    known_source_min_entropy,
)
from harness.estimators.entropy.joint_trellis import best_tables, sections
from harness.estimators.entropy.sampled_min_entropy import draw_syndromes, likeliest, sampled_min_entropy
from harness.estimators.entropy.symbol_chains import (
    SymbolChain,
    fitted_chain,
    independent_symbols,
    stationary_chain,
)
from harness.streams import stream
from schemes.codes import golay23, hamming

BIT = np.array([[0], [1]], np.uint8)
TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
GRAY = np.array([[0, 0], [0, 1], [1, 1], [1, 0]], np.uint8)
PARITIES = {
    "hamming-7-4": hamming(3).parity,
    "repetition-3": np.array([[1, 1, 0], [1, 0, 1]], np.uint8),
    "repetition-5": np.concatenate([np.ones((4, 1)), np.eye(4)], axis=1).astype(np.uint8),
    "[5, 2]": np.array([[1, 0, 1, 0, 0], [1, 1, 0, 1, 0], [0, 1, 0, 0, 1]], np.uint8),
}


def drawn_chain(
    rng: np.random.Generator, alphabet: int, symbols: int, *, sharp: float = 0.7
) -> SymbolChain:
    """A chain of its own step at each position, with some impossible transitions."""
    steps = rng.dirichlet(np.full(alphabet, 0.7), (symbols - 1, alphabet))
    steps[rng.random(steps.shape) < 0.1] = 0
    steps += (steps.sum(axis=2, keepdims=True) == 0) / alphabet
    return SymbolChain(rng.dirichlet(np.ones(alphabet)), steps / steps.sum(axis=2, keepdims=True))


def enumerated(
    parity: Array, positions: Array, labels: Array, chain: SymbolChain
) -> dict[bytes, list[float]]:
    """Set of syndromes -> probabilities of the words of bits that have it, by looking at all symbols."""
    symbols = np.array(list(itertools.product(range(chain.alphabet), repeat=chain.symbols)))
    each = np.arange(chain.symbols - 1)
    p = chain.start[symbols[:, 0]] * chain.steps[each, symbols[:, :-1], symbols[:, 1:]].prod(axis=1)
    blocks = np.pad(labels[symbols].reshape(len(symbols), -1), ((0, 0), (0, 1)))[:, positions]
    syndromes = (blocks @ parity.T % 2).astype(np.uint8)
    word: dict[tuple[bytes, bytes], float] = defaultdict(float)
    for syndrome, bits, share in zip(syndromes, blocks, p, strict=True):
        word[syndrome.tobytes(), bits.tobytes()] += float(share)
    found: dict[bytes, list[float]] = defaultdict(list)
    for (syndrome, _), p in word.items():
        found[syndrome].append(p)
    return found


def left(found: dict[bytes, list[float]]) -> float:
    return -float(np.log2(sum(max(p) for p in found.values())))


CASES = [  # code, labels, blocks, symbols, whether symbols straddle
    ("hamming-7-4", BIT, 2, 14, True),
    ("repetition-3", BIT, 3, 10, True),
    ("repetition-3", TERNARY, 3, 5, True),
    ("repetition-3", GRAY, 3, 5, True),
    ("repetition-3", GRAY, 3, 3, False),
    ("repetition-5", TERNARY, 2, 5, True),
    ("repetition-5", GRAY, 3, 8, True),
    ("[5, 2]", TERNARY, 3, 8, True),
    ("[5, 2]", GRAY, 2, 4, False),
    ("[5, 2]", BIT, 2, 10, True),
]


def laid_out(code: str, labels: Array, blocks: int, straddle: bool) -> Array:
    n, bits = PARITIES[code].shape[1], labels.shape[1]
    if straddle:
        return np.arange(blocks * n).reshape(blocks, n)
    used = n // bits * bits
    return np.pad(
        np.arange(blocks * used).reshape(blocks, used), ((0, 0), (0, n - used)), constant_values=-1
    )


@pytest.mark.parametrize(("code", "labels", "blocks", "symbols", "straddle"), CASES)
@pytest.mark.parametrize("seed", range(2))
def test_against_a_loop_over_all_words(
    code: str, labels: Array, blocks: int, symbols: int, straddle: bool, seed: int
) -> None:
    chain = drawn_chain(np.random.default_rng([seed, symbols, blocks]), len(labels), symbols)
    parity, positions = PARITIES[code], laid_out(code, labels, blocks, straddle)
    found = enumerated(parity, positions, labels, chain)
    exact = joint_min_entropy(parity, positions, labels, chain)
    assert exact == pytest.approx(left(found), abs=1e-12)
    sampled = sampled_min_entropy(
        parity, positions, labels, chain, rng=stream(seed, code), draws=200, level=1 - 1e-4
    )
    assert sampled.low - 1e-9 <= exact <= sampled.high + 1e-9  # 20 cases: one in 500 at most would miss
    # a block alone, whose first and last symbol may be known only in part
    for number, alone in enumerate(block_min_entropies(parity, positions, labels, chain)):
        own = positions[number]
        assert alone == pytest.approx(left(enumerated(parity, own[None], labels, chain)), abs=1e-12)


@pytest.mark.parametrize(("code", "labels", "blocks", "symbols", "straddle"), CASES[:6])
def test_odds_at_every_number_of_guesses_against_a_loop(
    code: str, labels: Array, blocks: int, symbols: int, straddle: bool
) -> None:
    chain = drawn_chain(np.random.default_rng(symbols), len(labels), symbols)
    parity, positions = PARITIES[code], laid_out(code, labels, blocks, straddle)
    for own in positions:
        found = enumerated(parity, own[None], labels, chain)
        words = possible_words(parity, own, labels, chain)
        budgets = [0, 1, 2, 3, 10, 2**300]
        expected = [sum(sum(sorted(p, reverse=True)[:g]) for p in found.values()) for g in budgets]
        assert guess_odds(words, budgets) == pytest.approx(expected, abs=1e-12)
        shannon, least = crude_bounds(words, len(parity))
        every = np.array([p for ps in found.values() for p in ps if p > 0])
        assert shannon == pytest.approx(-(every * np.log2(every)).sum() - len(parity), abs=1e-12)
        assert least == pytest.approx(-np.log2(every.max()) - len(parity), abs=1e-12)


def test_too_few_draws_leave_the_upper_end_open() -> None:
    """One draw may have been the only one that is not nothing."""
    parity, positions = np.ones((1, 2), np.uint8), np.arange(6).reshape(3, 2)
    chain = stationary_chain(np.array([[0.9, 0.1], [0.2, 0.8]]), 6)
    rng = np.random.default_rng(1)
    labels = np.array([[0], [1]], np.uint8)
    found = sampled_min_entropy(parity, positions, labels, chain, rng=rng, draws=1)
    assert np.isnan(found.high)
    assert found.low <= found.value


@pytest.mark.parametrize("parities", [16, 17])
def test_as_many_parities_as_a_short_number_holds_and_one_more(parities: int) -> None:
    """Of as many fair bits as parities every bit is published; one parity is that of all of them."""
    parity = np.eye(parities, dtype=np.uint8)
    chain = independent_symbols(np.full((parities, 2), 0.5))
    words = possible_words(parity, np.arange(parities), np.array([[0], [1]], np.uint8), chain)
    assert len(np.unique(words.syndrome)) == 2**parities
    assert guess_odds(words, [1]) == pytest.approx([1.0])


def test_independent_symbols_are_those_of_the_block_without_a_chain() -> None:
    shares = np.random.default_rng(1).dirichlet(np.ones(3), 12)
    positions = np.arange(23)
    expected = average_min_entropy(golay23().parity, pattern_slots(positions, TERNARY, shares))
    found = joint_min_entropy(golay23().parity, positions[None], TERNARY, independent_symbols(shares))
    assert found == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("labels", [BIT, TERNARY, GRAY])
def test_draws_are_unbiased_and_stay_below_their_ceiling(labels: Array) -> None:
    """20 000 draws, within 4 standard errors; at a source whose proportions do not recur."""
    parity = PARITIES["hamming-7-4"]
    positions = np.arange(28).reshape(4, 7)
    chain = drawn_chain(np.random.default_rng(5), len(labels), -(-28 // labels.shape[1]))
    tables, log2_scale = best_tables(sections(parity, positions, labels, chain))
    sample = draw_syndromes(tables, rng=stream(0, "many"), draws=20_000)
    exact = 2.0 ** (-joint_min_entropy(parity, positions, labels, chain) - log2_scale - sample.log2_ceiling)
    error = sample.share.std() / np.sqrt(20_000)
    assert 0 < error < 0.005 * exact  # else the test would see nothing
    assert sample.share.mean() == pytest.approx(exact, abs=4 * error)
    assert sample.share.max() < 1  # a wrong ceiling would be cut off at 1
    assert sample.last == pytest.approx(likeliest(tables, sample.picks))
    # draws under a source that can do everything, weighted for this one, which cannot
    wider = SymbolChain(chain.start, 0.9 * chain.steps + 0.1 / len(labels))
    others, _ = best_tables(sections(parity, positions, labels, wider))
    drawn = draw_syndromes(others, rng=stream(1, "many"), draws=20_000)
    weighted = drawn.share * 2 ** (likeliest(tables, drawn.picks) - drawn.last)
    expected = 2.0 ** (
        -joint_min_entropy(parity, positions, labels, chain) - log2_scale - drawn.log2_ceiling
    )
    error = weighted.std() / np.sqrt(20_000)
    assert 0 < error < 0.05 * expected
    assert weighted.mean() == pytest.approx(expected, abs=4 * error)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    code=st.sampled_from(sorted(PARITIES)),
    labels=st.sampled_from([BIT, TERNARY, GRAY]),
    blocks=st.integers(2, 3),
)
def test_bounds_are_ordered(seed: int, code: str, labels: Array, blocks: int) -> None:
    """What is published costs at most its length; who sees more checks never has more left to guess.

    More blocks may leave less, though: their syndromes also tell of the blocks before.
    """
    parity = PARITIES[code]
    r, n = parity.shape
    positions = np.arange(blocks * n).reshape(blocks, n)
    symbols = -(-blocks * n // labels.shape[1])
    rng = np.random.default_rng(seed)
    chain = drawn_chain(rng, len(labels), symbols)
    exact = joint_min_entropy(parity, positions, labels, chain)
    nothing = np.zeros((0, n), np.uint8)
    least = joint_min_entropy(nothing, positions, labels, chain)  # nothing published: min-entropy itself
    assert max(0.0, least - blocks * r) - 1e-9 <= exact <= min(least, blocks * (n - r)) + 1e-9
    fewer = joint_min_entropy(parity[:-1], positions, labels, chain)
    assert exact <= fewer + 1e-9 <= exact + blocks + 2e-9
    # another basis of the same checks says the same
    mixed = parity.copy()
    mixed[0] ^= parity[-1]
    assert joint_min_entropy(mixed, positions, labels, chain) == pytest.approx(exact, abs=1e-9)
    # renaming symbols, labels with them, changes nothing
    swap = rng.permutation(len(labels))
    renamed = SymbolChain(chain.start[swap], chain.steps[:, swap][:, :, swap])
    assert joint_min_entropy(parity, positions, labels[swap], renamed) == pytest.approx(exact, abs=1e-9)
    words = [possible_words(parity, block, labels, chain) for block in positions]
    alone = block_min_entropies(parity, positions, labels, chain)
    for own, bits in zip(words, alone, strict=True):
        odds = guess_odds(own, range(20))
        assert odds[1] == pytest.approx(2**-bits, abs=1e-12)
        assert (np.diff(odds) >= -1e-15).all()
        assert (np.diff(odds, n=2) <= 1e-12).all()  # the likeliest words are guessed first
        shannon, crude = crude_bounds(own, r)
        assert crude - 1e-9 <= min(bits, shannon)


@pytest.mark.parametrize("code", sorted(PARITIES))
def test_uniform_bits_leave_what_the_code_carries(code: str) -> None:
    parity = PARITIES[code]
    r, n = parity.shape
    uniform = independent_symbols(np.full((4 * n, 2), 0.5))
    positions = np.arange(4 * n).reshape(4, n)
    assert joint_min_entropy(parity, positions, BIT, uniform) == pytest.approx(4 * (n - r), abs=1e-12)
    sampled = sampled_min_entropy(parity, positions, BIT, uniform, rng=stream(0, code), draws=10)
    assert sampled.value == pytest.approx(4 * (n - r), abs=1e-9)


def test_independent_symbols_add_up_over_connected_blocks_only() -> None:
    """23 bits of two-bit symbols: every other border cuts a symbol."""
    parity = golay23().parity
    positions = np.arange(6 * 23).reshape(6, 23)
    chain = independent_symbols(np.tile([0.2, 0.5, 0.3], (69, 1)))
    groups = connected_blocks(positions, 2)
    assert [g.tolist() for g in groups] == [[0, 1], [2, 3], [4, 5]]
    whole = joint_min_entropy(parity, positions, TERNARY, chain)
    parts = [joint_min_entropy(parity, positions[g], TERNARY, chain) for g in groups]
    assert whole == pytest.approx(sum(parts), abs=1e-9)
    # marginals of the bits of a symbol that is cut would say something else
    assert abs(block_min_entropies(parity, positions, TERNARY, chain).sum() - whole) > 0.01


def test_who_knows_the_person_has_least_left_to_guess() -> None:
    """Two kinds of people: knowing whose key it is never leaves more, and at most one bit less."""
    parity, positions = PARITIES["[5, 2]"], np.arange(10).reshape(2, 5)
    rng = np.random.default_rng(3)
    for _ in range(20):
        kinds = [drawn_chain(rng, 2, 10) for _ in range(2)]
        share = rng.dirichlet([1, 1])
        mixed: dict[bytes, Array] = {}
        for weight, chain in zip(share, kinds, strict=True):
            for syndrome, odds in enumerated(parity, positions, BIT, chain).items():
                mixed[syndrome] = mixed.get(syndrome, np.zeros(len(odds))) + weight * np.array(odds)
        unknown = left({s: p.tolist() for s, p in mixed.items()})
        alone = np.array([joint_min_entropy(parity, positions, BIT, chain) for chain in kinds])
        known = known_source_min_entropy(alone, share)
        assert known - 1e-9 <= unknown <= known + 1 + 1e-9
        assert alone.min() - 1e-9 <= known <= alone.max() + 1e-9
    with pytest.raises(ValueError, match="`shares` must be a distribution over 2 sources"):
        known_source_min_entropy(np.ones(2), np.array([0.5, 0.4]))


def test_connected_blocks_may_be_connected_round_about() -> None:
    positions = np.array([[0, 1], [4, 5], [2, 6], [7, 3]])
    assert [g.tolist() for g in connected_blocks(positions, 2)] == [[0], [1], [2, 3]]
    chained = np.array([[0, 2], [5, -1], [3, 4]])
    assert [g.tolist() for g in connected_blocks(chained, 2)] == [[0, 1, 2]]


def test_a_source_that_never_moves_holds_its_first_symbol_only() -> None:
    """Three words in all; those of symbols 0 and 2 differ by the word of ones, which is a codeword."""
    parity = golay23().parity
    chain = SymbolChain(np.array([0.5, 0.3, 0.2]), np.broadcast_to(np.eye(3), (137, 3, 3)))
    positions = np.arange(276).reshape(12, 23)
    found = joint_min_entropy(parity, positions, TERNARY, chain)
    assert found == pytest.approx(-np.log2(0.5 + 0.3), abs=1e-12)
    sampled = sampled_min_entropy(parity, positions, TERNARY, chain, rng=stream(0, "still"), draws=200)
    assert sampled.low <= found <= sampled.high


def test_a_hundred_blocks_do_not_underflow() -> None:
    parity = hamming(3).parity
    positions = np.arange(7 * 400).reshape(400, 7)
    chain = independent_symbols(np.tile([0.4, 0.6], (2800, 1)))
    one = joint_min_entropy(parity, positions[:1], BIT, chain)
    assert joint_min_entropy(parity, positions, BIT, chain) == pytest.approx(400 * one, rel=1e-9)
    sampled = sampled_min_entropy(parity, positions, BIT, chain, rng=stream(0, "long"), draws=20)
    assert sampled.value == pytest.approx(400 * one, rel=1e-9)


def test_symbols_that_no_block_reads_are_summed_out() -> None:
    chain = drawn_chain(np.random.default_rng(2), 3, 8)
    parity = PARITIES["[5, 2]"]
    positions = np.array([[2, 3, 4, 5, -1], [10, 11, 12, 13, -1]])  # symbols 0, 3, 4 and 7 are left out
    expected = left(enumerated(parity, positions, TERNARY, chain))
    assert joint_min_entropy(parity, positions, TERNARY, chain) == pytest.approx(expected, abs=1e-12)
    nothing = np.full((2, 5), -1)
    assert joint_min_entropy(parity, nothing, TERNARY, chain) == 0
    assert sampled_min_entropy(parity, nothing, TERNARY, chain, rng=stream(0, "x"), draws=2).value == 0


def test_a_fitted_chain_counts_within_attempts() -> None:
    symbols = np.array([[0, 1, 1], [1, 1, 0]])
    chain = fitted_chain(symbols, alphabet=3, smoothing=0.5)
    # 0, 1, 1, 1, 1, 0: shares (2, 4, 0) and half a symbol more; never 1 -> 1 across the attempts
    shares = (np.array([2, 4, 0]) + 0.5 / 3) / 6.5
    assert chain.start == pytest.approx(shares)
    assert chain.steps[0, 0] == pytest.approx((np.array([0, 1, 0]) + 0.5 * shares) / 1.5)
    assert chain.steps[0, 1] == pytest.approx((np.array([1, 2, 0]) + 0.5 * shares) / 3.5)
    assert chain.steps[0, 2] == pytest.approx(shares)  # never seen: independent of it
    assert chain.symbols == 3


def test_a_stationary_chain_keeps_its_start() -> None:
    step = np.random.default_rng(0).dirichlet(np.ones(4), 4)
    chain = stationary_chain(step, 5)
    assert chain.start @ step == pytest.approx(chain.start)
    with pytest.raises(ValueError, match="one distribution only, got several closed classes"):
        stationary_chain(np.eye(3), 5)


def test_bad_input_is_named() -> None:
    rng = stream(0, "bad")
    fair = independent_symbols(np.full((10, 2), 0.5))
    parity, positions = PARITIES["[5, 2]"], np.arange(10).reshape(2, 5)
    with pytest.raises(ValueError, match=r"`start` must hold distributions, got .* a sum of 0\.9"):
        SymbolChain(np.array([0.5, 0.4]), np.full((1, 2, 2), 0.5))
    with pytest.raises(ValueError, match=r"`steps` must hold distributions, got a least entry of -0\.5"):
        SymbolChain(np.array([0.5, 0.5]), np.array([[[1.5, -0.5], [0.5, 0.5]]]))
    with pytest.raises(ValueError, match=r"`steps` must hold distributions, got a least entry of nan"):
        SymbolChain(np.array([0.5, 0.5]), np.full((1, 2, 2), np.nan))
    with pytest.raises(ValueError, match=r"\(m - 1, alphabet, alphabet\), got \(2,\) and \(1, 3, 3\)"):
        SymbolChain(np.array([0.5, 0.5]), np.full((1, 3, 3), 1 / 3))
    with pytest.raises(ValueError, match="a row for each of 2 symbols, got 3"):
        joint_min_entropy(parity, positions, TERNARY, fair)
    with pytest.raises(ValueError, match="must be -1 to 9, the bits of the chain, got 5 to 14"):
        joint_min_entropy(parity, positions + 5, BIT, fair)
    with pytest.raises(ValueError, match=r"`positions` must be \(blocks, 5\), got \(10,\)"):
        joint_min_entropy(parity, np.arange(10), BIT, fair)
    with pytest.raises(InsufficientData, match="read the symbols in their order"):
        joint_min_entropy(parity, positions[::-1], BIT, fair)
    ternary = independent_symbols(np.full((10, 3), 1 / 3))
    with pytest.raises(InsufficientData, match="the bits read of symbol 1 do not tell it"):
        joint_min_entropy(parity, np.array([[0, 1, 2, 4, 5]]), TERNARY, ternary)
    with pytest.raises(InsufficientData, match=r"2\^40 syndromes by 1 by 2 symbols, and more than 1048576"):
        joint_min_entropy(np.ones((40, 10), np.uint8), np.arange(10)[None], BIT, fair)
    with pytest.raises(ValueError, match="`draws` must be at least 1, got 0"):
        sampled_min_entropy(parity, positions, BIT, fair, rng=rng, draws=0)
    with pytest.raises(ValueError, match="`budgets` must be at least 0, got -1"):
        guess_odds(possible_words(parity, positions[0], BIT, fair), [1, -1])
    long = independent_symbols(np.full((25, 2), 0.5))
    with pytest.raises(InsufficientData, match="at most 16777216 words, got 33554432"):
        possible_words(np.ones((1, 25), np.uint8), np.arange(25), BIT, long)
    for symbols in (np.array([[0, 3]]), np.array([[0.5, 1]]), np.array([[-1, 1]])):
        with pytest.raises(ValueError, match="must be whole numbers from 0 to 2, got others"):
            fitted_chain(symbols, alphabet=3)
    with pytest.raises(ValueError, match=r"must be .* and not empty, got shape"):
        fitted_chain(np.zeros((0, 4), int), alphabet=3)
    assert fitted_chain(np.zeros((2, 1), int), alphabet=2).symbols == 1  # no transition at all


def test_proportions_that_never_recur_are_refused() -> None:
    step = np.random.default_rng(0).dirichlet(np.ones(3), 3)
    positions = np.arange(276).reshape(12, 23)
    with pytest.raises(InsufficientData, match=r"needs proportions that recur, but block [23] of 12 has"):
        joint_min_entropy(golay23().parity, positions, TERNARY, stationary_chain(step, 138))


def test_sections_share_the_symbol_that_straddles() -> None:
    chain = independent_symbols(np.full((5, 3), 1 / 3))
    cut = sections(PARITIES["[5, 2]"], np.arange(10).reshape(2, 5), TERNARY, chain)
    assert [s.ends for s in cut] == [(1, 3), (3, 3)]
    assert cut[1].enters[0] is None
