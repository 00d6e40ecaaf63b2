"""Beliefs sharpened by helper data, against listing every witness and against attacks that are run."""

from __future__ import annotations

import itertools
from dataclasses import replace
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from harness.contracts import Array, Linear
from harness.decoding import (
    block_words,
    enumerable,
    ordered_statistics,
    secret_ranks,
    witness_bits,
)
from harness.gf2 import all_words, most_reliable_basis, product, solver
from harness.ranking import Ranks
from schemes.codes import Code, bch, golay23, hamming, repetition
from schemes.commitment import consecutive_bits, whole_symbols
from schemes.sketches import CodeOffset, SyndromeSketch

LABELS = {
    "bits": np.array([[0], [1]], np.uint8),
    "gray": np.array([[0, 0], [0, 1], [1, 1], [1, 0]], np.uint8),
    "three": np.array([[0, 0], [0, 1], [1, 1]], np.uint8),
}
CODES = {"repetition": repetition(3), "hamming": hamming(3)}
MARGIN = 1e-5  # tables are rounded to 2**-24 nats per symbol: closer words may be told apart or not


def layout(kind: str, code: Code, bits: int) -> Array:
    return whole_symbols(2, code.n, bits) if kind == "whole" else consecutive_bits(2, code.n)


def committed(
    seed: int, code: Code, labels: Array, positions: Array, *, rows: int = 3, offset: bool = True
) -> tuple[Array, Linear, Array]:
    """Symbols, what the sketch discloses of them, and the secrets that A holds."""
    rng = np.random.default_rng(seed)
    bits = labels.shape[1]
    m = -(-(int(positions.max()) + 1) // bits)
    symbols = rng.integers(0, len(labels), (rows, m)).astype(np.uint8)
    sketch = CodeOffset(code=code) if offset else SyndromeSketch(code=code)
    words = block_words(witness_bits(symbols, labels), positions)
    secret, helper = sketch.commit(words, rng=rng)
    return symbols, sketch.linear(helper, positions), secret


def believed(seed: int, shape: tuple[int, int, int], kind: str) -> Array:
    rng = np.random.default_rng(seed + 1)
    p = np.full(shape, 1 / shape[2]) if kind == "ties" else rng.dirichlet(np.full(shape[2], 0.6), shape[:2])
    p = p + 1e-9
    if kind == "impossible":
        p[rng.random(shape) < 0.15] = 0
        p[p.sum(axis=2) == 0] = 1
    with np.errstate(divide="ignore"):
        return np.log(p / p.sum(axis=2, keepdims=True))


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


def run_attack(log_prob: Array, linear: Linear, row: int) -> list[bytes]:
    """The guesses of one block as an attacker makes them, secret by secret, best first.

    First the re-encoded most reliable positions and their single flips by the whole word's probability,
    then the other sets of flips by their cost on these positions.
    """
    space = solver(linear.parity)
    start = space.particular(linear.syndrome[row, 0])
    llr = np.append(log_prob[row, :, 1] - log_prob[row, :, 0], -8192.0)[linear.positions[0, 0]]
    signed = np.where(start == 1, -llr, llr)
    order = np.argsort(-np.abs(signed), kind="stable")[None]
    generator, basis = (x[0] for x in most_reliable_basis(space.basis, order))
    hard = (signed[basis] > 0).astype(np.uint8)
    flips = all_words(len(basis))
    words = product(hard ^ flips, generator)
    likelihood = (np.where(words == 1, 1, -1) * signed).sum(axis=1) / 2
    cost = flips @ np.abs(signed[basis])
    first = np.flatnonzero(flips.sum(axis=1) <= 1)
    rest = np.flatnonzero(flips.sum(axis=1) > 1)
    guesses = np.r_[
        first[np.argsort(-likelihood[first], kind="stable")], rest[np.argsort(cost[rest], kind="stable")]
    ]
    held = product(words[guesses] ^ start, linear.secret_map.T) ^ linear.secret_offset[row, 0]
    return [x.tobytes() for x in held]


@pytest.mark.parametrize("code", [hamming(3), golay23(), bch(15, 7)], ids=lambda c: c.name)
def test_ordered_statistics_is_the_rank_of_an_attack_that_is_run(code: Code) -> None:
    """With an empty position; listed keys at exactly the place reported, others within the bracket."""
    rows = 120
    positions = consecutive_bits(1, code.n)
    positions[0, 0, -1] = -1
    symbols, linear, secret = committed(9, code, LABELS["bits"], positions, rows=rows)
    # seen through noise that leaves some keys among the first guesses and others not
    z = np.where(symbols == 1, 1.0, -1.0) + np.random.default_rng(10).normal(0, 1.6, symbols.shape)
    log_prob = -np.logaddexp(0, np.stack([2 * z, -2 * z], axis=2) / 1.6**2)
    ranks = ordered_statistics(log_prob, LABELS["bits"], linear, symbols)
    exact = secret_ranks(log_prob, LABELS["bits"], linear, symbols)
    listed = 0
    for row in range(rows):
        place = run_attack(log_prob, linear, row).index(secret[row].tobytes())
        assert ranks.fewer_low[row] <= place <= ranks.fewer_high[row]
        assert ranks.upto_low[row] <= place + 1 <= ranks.upto_high[row]
        if place <= code.k:
            listed += 1
            assert ranks.fewer_low[row] == place == ranks.fewer_high[row]
            # the list is a part of all words, in the same order
            assert place < exact.upto_high[row]
    assert 0 < listed < rows
    assert np.isnan(ranks.surprise).all()


def run_on_two_blocks(log_prob: Array, labels: Array, linear: Linear, row: int) -> list[bytes]:
    """The guesses of two blocks at once: the best listed word of each, then joint flips by their cost."""
    space, bits = solver(linear.parity), labels.shape[1]
    parts = []
    for block in range(2):
        start = space.particular(linear.syndrome[row, block])
        reach = [(log_prob[row, p // bits], labels[:, p % bits] == 1) for p in linear.positions[0, block]]
        odds = [np.logaddexp.reduce(x[one]) - np.logaddexp.reduce(x[~one]) for x, one in reach]
        signed = np.where(start == 1, -1, 1) * np.array(odds)
        order = np.argsort(-np.abs(signed), kind="stable")[None]
        generator, basis = (x[0] for x in most_reliable_basis(space.basis, order))
        flips = all_words(len(basis))
        words = product((signed[basis] > 0).astype(np.uint8) ^ flips, generator)
        likelihood = np.where(
            flips.sum(axis=1) <= 1, (np.where(words == 1, 1, -1) * signed).sum(axis=1), -1e9
        )
        held = product(words ^ start, linear.secret_map.T) ^ linear.secret_offset[row, block]
        parts.append((likelihood.argmax(), flips @ np.abs(signed[basis]), held))
    (best_a, cost_a, held_a), (best_b, cost_b, held_b) = parts
    joint = np.argsort(np.add.outer(cost_a, cost_b).ravel(), kind="stable")
    pairs = [(best_a, best_b), *[(i // len(cost_b), i % len(cost_b)) for i in joint]]
    return list(dict.fromkeys(held_a[i].tobytes() + held_b[j].tobytes() for i, j in pairs))


@pytest.mark.parametrize("labels", ["bits", "gray"])
def test_ordered_statistics_of_two_blocks_is_the_rank_of_an_attack_that_is_run(labels: str) -> None:
    """Gray-coded symbols straddle the blocks here."""
    label, rows = LABELS[labels], 80
    symbols, linear, secret = committed(14, hamming(3), label, consecutive_bits(2, 7), rows=rows)
    # smooth, so that no costs tie and a place is b itself; right more often than wrong
    told = np.exp(believed(14, (*symbols.shape, len(label)), "smooth"))
    told += np.eye(len(label))[symbols] * np.random.default_rng(15).random((*symbols.shape, 1))
    log_prob = np.log(told / told.sum(axis=2, keepdims=True))
    ranks = ordered_statistics(log_prob, label, linear, symbols)
    first = 0
    for row in range(rows):
        place = run_on_two_blocks(log_prob, label, linear, row).index(secret[row].tobytes())
        assert ranks.fewer_low[row] <= place <= ranks.fewer_high[row]
        assert ranks.fewer_low[row] + 1 <= ranks.upto_low[row] <= place + 1 <= ranks.upto_high[row]
        # a key at the first place is reported there, and no other key is
        assert (place == 0) == (ranks.upto_high[row] == 1)
        first += place == 0
    assert 0 < first < rows


def test_ordered_statistics_decodes_a_large_code() -> None:
    """BCH (127, 64, 10) corrects ten errors for certain; ordered statistics does so here."""
    code = bch(127, 64)
    symbols, linear, _ = committed(10, code, LABELS["bits"], consecutive_bits(2, 127), rows=20)
    rng = np.random.default_rng(11)
    z = np.where(symbols == 1, 1.0, -1.0) + rng.normal(0, 0.5, symbols.shape)
    log_prob = -np.logaddexp(0, np.stack([8 * z, -8 * z], axis=2))
    ranks = ordered_statistics(log_prob, LABELS["bits"], linear, symbols)
    assert (ranks.upto_high == 1).mean() >= 0.9
    blind = ordered_statistics(np.log(np.full(log_prob.shape, 0.5)), LABELS["bits"], linear, symbols)
    assert (blind.log2_rank(128)[0] > 120).all()


def test_several_blocks_are_tried_together() -> None:
    """The first guess joins the best word of every block; it is right only if all of them are."""
    code = hamming(3)
    symbols, linear, _ = committed(12, code, LABELS["bits"], consecutive_bits(2, 7), rows=60)
    log_prob = believed(12, (60, 14, 2), "smooth")
    both = ordered_statistics(log_prob, LABELS["bits"], linear, symbols)
    alone = []
    for block in range(2):
        part = slice(7 * block, 7 * block + 7)
        one = Linear(
            positions=consecutive_bits(1, 7), parity=linear.parity,
            syndrome=linear.syndrome[:, block : block + 1], secret_map=linear.secret_map,
            secret_offset=linear.secret_offset[:, block : block + 1],
        )  # fmt: skip
        alone.append(ordered_statistics(log_prob[:, part], LABELS["bits"], one, symbols[:, part]))
    first = (alone[0].upto_high == 1) & (alone[1].upto_high == 1)
    assert 0 < first.sum() < 60
    assert np.array_equal(both.upto_high == 1, first)
    assert (both.fewer_low[~first] >= 1).all()
    assert (both.upto_high <= 257).all()


def test_words_of_blocks_and_bits_of_symbols() -> None:
    bits = witness_bits(np.array([[2, 0]]), LABELS["three"])
    assert bits.tolist() == [[1, 1, 0, 0]]
    assert block_words(bits, np.array([[[0, -1, 3]]])).tolist() == [[[1, 0, 0]]]


def test_ties_of_the_first_guesses_stand_before_the_truth() -> None:
    """All words alike: of the first five guesses the true one counts as the fifth, never the first."""
    symbols, linear, _ = committed(13, hamming(3), LABELS["bits"], consecutive_bits(1, 7), rows=40)
    blind = np.log(np.full((40, 7, 2), 0.5))
    ranks = ordered_statistics(blind, LABELS["bits"], linear, symbols)
    first = ranks.upto_high <= 5
    assert 0 < first.sum() < 40
    assert (ranks.fewer_low[first] == 4).all()
    assert (ranks.fewer_low[~first] >= 4).all()
