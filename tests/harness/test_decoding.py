"""Beliefs sharpened by helper data, against listing every witness and against attacks that are run."""

from __future__ import annotations

import itertools
from dataclasses import replace
from math import comb

import numpy as np
import pytest
from committed_keys import LABELS, believed, committed
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from harness.contracts import Array, Linear
from harness.decoding import block_words, enumerable, secret_ranks, witness_bits
from harness.gf2 import all_words, product
from harness.ranking import Ranks
from schemes.codes import Code, bch, golay23, hamming, repetition
from schemes.commitment import consecutive_bits, whole_symbols
from schemes.sketches import SyndromeSketch

CODES = {"repetition": repetition(3), "hamming": hamming(3)}
MARGIN = 1e-5  # tables are rounded to 2**-24 nats per symbol: closer words may be told apart or not


def layout(kind: str, code: Code, bits: int) -> Array:
    return whole_symbols(2, code.n, bits) if kind == "whole" else consecutive_bits(2, code.n)


def block_secrets(
    log_prob: Array, labels: Array, linear: Linear, row: int, block: int
) -> dict[bytes, float]:
    """Probability of every secret of one block, by listing strings of the symbols that reach into it."""
    bits = labels.shape[1]
    positions = linear.positions[0, block]
    reach = sorted({int(p) // bits for p in positions if p >= 0})
    found: dict[bytes, float] = {}
    for string in itertools.product(range(len(labels)), repeat=len(reach)):
        word = np.array(
            [0 if p < 0 else labels[string[reach.index(int(p) // bits)], int(p) % bits] for p in positions]
        )
        if (linear.parity @ word % 2 != linear.syndrome[row, block]).any():
            continue
        p = np.exp(sum(log_prob[row, s, v] for s, v in zip(reach, string, strict=True)))
        secret = (
            (linear.secret_map @ word % 2 ^ linear.secret_offset[row, block]).astype(np.uint8).tobytes()
        )
        found[secret] = found.get(secret, 0.0) + p
    return found


def fits(ranks: Ranks, row: int, distribution: dict[bytes, float], own: bytes) -> bool:
    """Whether a rank is that of `own` in a listed distribution, near ties either way."""
    p = np.array([x for x in distribution.values() if x > 0])
    mine = distribution.get(own, 0.0)
    if mine == 0:
        return bool(np.isinf(ranks.fewer_low[row]) and np.isinf(ranks.surprise[row]))
    likelier, not_less = (p > mine * (1 + MARGIN)).sum(), (p >= mine * (1 - MARGIN)).sum()
    return bool(
        likelier <= ranks.fewer_low[row] <= ranks.fewer_high[row] <= not_less - 1
        and likelier + 1 <= ranks.upto_low[row] <= ranks.upto_high[row] <= not_less
        and abs(ranks.surprise[row] + np.log2(mine / p.sum())) < 1e-4
    )


@settings(max_examples=120, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    code=st.sampled_from(sorted(CODES)),
    labels=st.sampled_from(sorted(LABELS)),
    kind=st.sampled_from(["whole", "straddling"]),
    belief=st.sampled_from(["smooth", "ties", "impossible"]),
    offset=st.booleans(),
)
def test_rank_is_that_among_all_witnesses(
    seed: int, code: str, labels: str, kind: str, belief: str, offset: bool
) -> None:
    """Per block; a symbol lying across two blocks enters each by its own bits, as the note says."""
    label = LABELS[labels]
    positions = layout(kind, CODES[code], label.shape[1])
    symbols, linear, secret = committed(seed, CODES[code], label, positions, offset=offset)
    log_prob = believed(seed, (*symbols.shape, len(label)), belief)
    ranks = secret_ranks(log_prob, label, linear, symbols)
    for row in range(len(symbols)):
        first, second = (block_secrets(log_prob, label, linear, row, b) for b in range(2))
        joint = {a + b: p * q for a, p in first.items() for b, q in second.items()}
        assert fits(ranks, row, joint, secret[row].tobytes())


def test_another_secret_fails_the_same_check() -> None:
    label, code = LABELS["gray"], CODES["hamming"]
    symbols, linear, secret = committed(1, code, label, whole_symbols(1, 7, 2))
    log_prob = believed(1, (*symbols.shape, 4), "smooth")
    ranks = secret_ranks(log_prob, label, linear, symbols)
    wrong = secret.copy()
    wrong[:, 0] ^= 1
    listed = [block_secrets(log_prob, label, linear, row, 0) for row in range(3)]
    assert all(fits(ranks, r, listed[r], secret[r].tobytes()) for r in range(3))
    assert not any(fits(ranks, r, listed[r], wrong[r].tobytes()) for r in range(3))


def test_whole_blocks_by_listing_the_witnesses_of_both_at_once() -> None:
    """The joint listing, without the step by blocks: 3**6 witnesses."""
    label, code = LABELS["three"], CODES["hamming"]
    positions = whole_symbols(2, 7, 2)
    symbols, linear, secret = committed(2, code, label, positions)
    log_prob = believed(2, (*symbols.shape, 3), "smooth")
    every = np.array(list(itertools.product(range(3), repeat=6)), np.uint8)
    words = block_words(witness_bits(every, label), positions)
    ranks = secret_ranks(log_prob, label, linear, symbols)
    for row in range(3):
        fit = (product(words, linear.parity.T) == linear.syndrome[row]).all(axis=(1, 2))
        p = np.exp(log_prob[row, np.arange(6), every[fit]].sum(axis=1))
        held = (product(words[fit], linear.secret_map.T) ^ linear.secret_offset[row]).reshape(fit.sum(), -1)
        distribution: dict[bytes, float] = {}
        for s, x in zip(held, p, strict=True):
            distribution[s.tobytes()] = distribution.get(s.tobytes(), 0.0) + x
        assert fits(ranks, row, distribution, secret[row].tobytes())


def test_words_that_lead_to_one_secret_are_added_up() -> None:
    label, code = LABELS["bits"], CODES["hamming"]
    symbols, linear, secret = committed(3, code, label, consecutive_bits(1, 7), rows=8)
    half = replace(linear, secret_map=linear.secret_map[:2], secret_offset=linear.secret_offset[..., :2])
    log_prob = believed(3, (*symbols.shape, 2), "smooth")
    ranks = secret_ranks(log_prob, label, half, symbols)
    for row in range(8):
        assert fits(ranks, row, block_secrets(log_prob, label, half, row, 0), secret[row, :2].tobytes())
    assert (ranks.upto_high <= 4).all()


def test_positions_of_each_attempt_are_its_own() -> None:
    label, code = LABELS["gray"], CODES["hamming"]
    rng = np.random.default_rng(4)
    places = np.stack([rng.permutation(14).reshape(2, 7) for _ in range(5)])
    places[0], places[3] = places[1], places[1]
    symbols = rng.integers(0, 4, (5, 7)).astype(np.uint8)
    words = block_words(witness_bits(symbols, label), places)
    sketch = SyndromeSketch(code=code)
    linear = sketch.linear(sketch.commit(words, rng=rng)[1], places)
    log_prob = believed(4, (5, 7, 4), "smooth")
    together = secret_ranks(log_prob, label, linear, symbols)
    for row in range(5):
        one = Linear(
            positions=places[row : row + 1], parity=linear.parity, syndrome=linear.syndrome[row : row + 1],
            secret_map=linear.secret_map, secret_offset=linear.secret_offset[row : row + 1],
        )  # fmt: skip
        alone = secret_ranks(log_prob[row : row + 1], label, one, symbols[row : row + 1])
        assert alone.fewer_low[0] == together.fewer_low[row]
        assert alone.surprise[0] == pytest.approx(together.surprise[row])


def test_permuting_the_blocks_changes_nothing() -> None:
    label, code = LABELS["gray"], CODES["hamming"]
    symbols, linear, _ = committed(5, code, label, whole_symbols(2, 7, 2), rows=6)
    log_prob = believed(5, (*symbols.shape, 4), "ties")
    swapped = Linear(
        positions=linear.positions[:, ::-1], parity=linear.parity, syndrome=linear.syndrome[:, ::-1],
        secret_map=linear.secret_map, secret_offset=linear.secret_offset[:, ::-1],
    )  # fmt: skip
    a, b = (secret_ranks(log_prob, label, x, symbols) for x in (linear, swapped))
    assert np.array_equal(a.upto_high, b.upto_high)
    assert np.allclose(a.surprise, b.surprise)


@pytest.mark.parametrize("q", [0.1, 0.3])
def test_an_attacker_with_helper_data_decodes_as_the_owner_does(q: float) -> None:
    """Golay is perfect: the best guess is right if at most three bits are wrong, P(Bin(23, q) <= 3)."""
    rows = 1500
    symbols, linear, _ = committed(6, golay23(), LABELS["bits"], consecutive_bits(1, 23), rows=rows)
    rng = np.random.default_rng(7)
    seen = symbols ^ (rng.random(symbols.shape) < q)
    log_prob = np.log(np.where(np.arange(2) == seen[..., None], 1 - q, q))
    ranks = secret_ranks(log_prob, LABELS["bits"], linear, symbols)
    hits = int((ranks.upto_high == 1).sum())
    truth = sum(comb(23, w) * q**w * (1 - q) ** (23 - w) for w in range(4))
    assert binom.ppf(0.0025, rows, truth) <= hits <= binom.ppf(0.9975, rows, truth)


def test_words_equally_far_tie_exactly() -> None:
    """A symmetric channel: equal terms add up alike in any order, so ranks count distances."""
    symbols, linear, _ = committed(7, hamming(3), LABELS["bits"], consecutive_bits(1, 7), rows=60)
    seen = symbols ^ (np.random.default_rng(8).random(symbols.shape) < 0.25)
    log_prob = np.log(np.where(np.arange(2) == seen[..., None], 0.75, 0.25))
    ranks = secret_ranks(log_prob, LABELS["bits"], linear, symbols)
    for row in range(60):
        fit = (product(all_words(7), linear.parity.T) == linear.syndrome[row, 0]).all(axis=1)
        far, own = (all_words(7)[fit] ^ seen[row]).sum(axis=1), (symbols[row] ^ seen[row]).sum()
        assert ranks.fewer_low[row] == ranks.fewer_high[row] == (far < own).sum()
        assert ranks.upto_low[row] == ranks.upto_high[row] == (far <= own).sum()


def test_blind_on_a_uniform_source_helper_data_say_nothing() -> None:
    symbols, linear, _ = committed(8, golay23(), LABELS["bits"], consecutive_bits(1, 23))
    ranks = secret_ranks(np.log(np.full((3, 23, 2), 0.5)), LABELS["bits"], linear, symbols)
    assert ranks.success(1, offline=False)[0].tolist() == [2**-12] * 3
    assert ranks.surprise == pytest.approx(12)


def test_a_long_block_believed_wrong_throughout_is_still_reached() -> None:
    """Many finite log-probabilities at the grid's floor add up to something unlikely, not impossible."""
    code = repetition(127)
    symbols, linear, _ = committed(0, code, LABELS["bits"], consecutive_bits(1, code.n), rows=1)
    wrong = np.where(np.arange(2) == symbols[..., None], -1e5, 0.0)
    ranks = secret_ranks(wrong, LABELS["bits"], linear, symbols)
    assert (ranks.fewer_low[0], ranks.upto_high[0]) == (1, 2)
    never = np.where(np.arange(2) == symbols[..., None], -np.inf, 0.0)
    assert np.isinf(secret_ranks(never, LABELS["bits"], linear, symbols).fewer_low[0])


def test_which_codes_are_enumerated() -> None:
    assert enumerable(committed(0, golay23(), LABELS["bits"], consecutive_bits(1, 23))[1])
    assert not enumerable(committed(0, bch(63, 30), LABELS["bits"], consecutive_bits(1, 63))[1])


def test_words_of_blocks_and_bits_of_symbols() -> None:
    bits = witness_bits(np.array([[2, 0]]), LABELS["three"])
    assert bits.tolist() == [[1, 1, 0, 0]]
    assert block_words(bits, np.array([[[0, -1, 3]]])).tolist() == [[[1, 0, 0]]]
