"""Ordered statistics against attacks that are run, word by word, as an attacker would."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from committed_keys import LABELS, believed, committed
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array, Linear
from harness.decoding import secret_ranks
from harness.gf2 import all_words, product, solver
from harness.ordered_statistics import (
    after_own_decoder,
    bit_log_odds,
    ordered_statistics,
    reprocess,
)
from harness.ranking import GRID, Ranks, on_grid
from schemes.codes import Code, bch, golay23, hamming
from schemes.commitment import consecutive_bits


def eliminated(generator: Array, order: Array) -> tuple[Array, Array]:
    """Gauss and Jordan on the columns of one word, the most reliable first: generator, basis."""
    work, basis = generator.copy(), []
    for column in order.tolist():
        row = len(basis)
        rows = np.flatnonzero(work[row:, column])
        if row < len(work) and rows.size:
            work[[row, row + rows[0]]] = work[[row + rows[0], row]]
            others = np.flatnonzero(work[:, column])
            work[others[others != row]] ^= work[row]
            basis.append(column)
    return work, np.array(basis)


def own_odds(log_prob: Array, labels: Array, linear: Linear, row: int, block: int) -> tuple[Array, Array]:
    """Log-odds that the bits of a code word are 1, and the word that it is added to; one block."""
    bits = labels.shape[1]
    start = solver(linear.parity).particular(linear.syndrome[row, block])
    told = []
    for p in linear.positions[0, block].tolist():
        if p < 0:
            told.append(-8192.0)
            continue
        belief, one = log_prob[row, p // bits], labels[:, p % bits] == 1
        told.append(np.logaddexp.reduce(belief[one]) - np.logaddexp.reduce(belief[~one]))
    return np.where(start == 1, -1, 1) * np.array(told), start


def run_attack(log_prob: Array, labels: Array, linear: Linear, row: int) -> list[bytes]:
    """The guesses of all blocks as an attacker makes them, secret by secret, best first.

    First combinations of words with at most two flips, by their whole probability, as many as there are
    sets of at most two flips over all blocks; then the other sets of flips by their cost on the basis.
    """
    listed, tails, secrets = [], [], []
    for block in range(linear.syndrome.shape[1]):
        odds, start = own_odds(log_prob, labels, linear, row, block)
        generator, basis = eliminated(solver(linear.parity).basis, np.argsort(-np.abs(odds), kind="stable"))
        flips = all_words(len(basis))
        words = product((odds[basis] > 0).astype(np.uint8) ^ flips, generator)
        listed.append(np.where(flips.sum(axis=1) <= 2, -(words * odds).sum(axis=1), np.inf))
        tails.append(flips @ np.abs(odds[basis]))
        secrets.append(product(words ^ start, linear.secret_map.T) ^ linear.secret_offset[row, block])
    k = sum(len(basis) for _ in listed)
    joint = listed[0] if len(listed) == 1 else np.add.outer(*listed).ravel()
    tail = tails[0] if len(tails) == 1 else np.add.outer(*tails).ravel()
    first = [i for i in np.argsort(joint, kind="stable") if np.isfinite(joint[i])][
        : 1 + k + k * (k - 1) // 2
    ]
    guesses = []
    for i in [*first, *np.argsort(tail, kind="stable")]:
        parts = [i] if len(secrets) == 1 else divmod(i, len(secrets[1]))
        guesses.append(b"".join(s[j].tobytes() for s, j in zip(secrets, parts, strict=True)))
    return list(dict.fromkeys(guesses))


@pytest.mark.parametrize("code", [hamming(3), golay23(), bch(15, 7)], ids=lambda c: c.name)
def test_one_block_is_ranked_where_the_attack_finds_it(code: Code) -> None:
    """With an empty position; listed keys at exactly the place reported, others within the bracket."""
    rows = 120
    positions = consecutive_bits(1, code.n)
    positions[0, 0, -1] = -1
    symbols, linear, secret = committed(9, code, LABELS["bits"], positions, rows=rows)
    # seen through noise that leaves some keys among the first guesses and others not
    z = np.where(symbols == 1, 1.0, -1.0) + np.random.default_rng(10).normal(0, 2.2, symbols.shape)
    log_prob = -np.logaddexp(0, np.stack([2 * z, -2 * z], axis=2) / 2.2**2)
    ranks = ordered_statistics(log_prob, LABELS["bits"], linear, symbols)
    exact = secret_ranks(log_prob, LABELS["bits"], linear, symbols)
    listed, size = 0, 1 + code.k + code.k * (code.k - 1) // 2
    for row in range(rows):
        place = run_attack(log_prob, LABELS["bits"], linear, row).index(secret[row].tobytes())
        assert ranks.fewer_low[row] <= place <= ranks.fewer_high[row]
        assert ranks.upto_low[row] <= place + 1 <= ranks.upto_high[row]
        if place < size:
            listed += 1
            assert ranks.fewer_low[row] == place == ranks.fewer_high[row]
            # the list is a part of all words, in the same order
            assert place < exact.upto_high[row]
    assert 0 < listed < rows
    assert np.isnan(ranks.surprise).all()


@pytest.mark.parametrize("labels", ["bits", "gray"])
def test_two_blocks_are_ranked_where_the_attack_finds_them(labels: str) -> None:
    """Gray-coded symbols straddle the blocks here."""
    label, rows = LABELS[labels], 80
    symbols, linear, secret = committed(14, hamming(3), label, consecutive_bits(2, 7), rows=rows)
    # smooth, so that no costs tie and a place is b itself; right more often than wrong
    told = np.exp(believed(14, (*symbols.shape, len(label)), "smooth"))
    told += np.eye(len(label))[symbols] * np.random.default_rng(15).random((*symbols.shape, 1))
    log_prob = np.log(told / told.sum(axis=2, keepdims=True))
    ranks = ordered_statistics(log_prob, label, linear, symbols)
    first = late = 0
    for row in range(rows):
        place = run_attack(log_prob, label, linear, row).index(secret[row].tobytes())
        assert ranks.fewer_low[row] <= place <= ranks.fewer_high[row]
        assert ranks.fewer_low[row] + 1 <= ranks.upto_low[row] <= place + 1 <= ranks.upto_high[row]
        # a key at the first place is reported there, and no other key is
        assert (place == 0) == (ranks.upto_high[row] == 1)
        first, late = first + (place == 0), late + (place >= 37)
    assert 0 < first < rows
    assert late > 0


def test_another_secret_fails_the_same_check() -> None:
    symbols, linear, secret = committed(1, bch(15, 7), LABELS["bits"], consecutive_bits(1, 15), rows=20)
    log_prob = believed(1, (*symbols.shape, 2), "smooth")
    ranks = ordered_statistics(log_prob, LABELS["bits"], linear, symbols)
    wrong = secret.copy()
    wrong[:, :3] ^= 1
    places = [
        run_attack(log_prob, LABELS["bits"], linear, row).index(wrong[row].tobytes()) for row in range(20)
    ]
    assert not all(a <= p <= b for a, p, b in zip(ranks.fewer_low, places, ranks.fewer_high, strict=True))


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    code=st.sampled_from([hamming(3), golay23(), bch(63, 30), bch(255, 131)]),
    kind=st.sampled_from(["smooth", "whole numbers", "equal"]),
)
def test_every_listed_cost_is_that_of_its_word(seed: int, code: Code, kind: str) -> None:
    """By re-encoding every word; sums on the grid are exact, so equal costs are equal."""
    rng = np.random.default_rng(seed)
    odds = {
        "smooth": lambda: on_grid(rng.normal(0, 3, (2, code.n))),
        "whole numbers": lambda: rng.integers(-3, 4, (2, code.n)).astype(float),
        "equal": lambda: np.where(rng.random((2, code.n)) < 0.5, 1.0, -1.0) * 5 / GRID,
    }[kind]()
    word = code.encode(rng.integers(0, 2, (2, code.k), dtype=np.uint8))
    found = reprocess(odds, word, code.generator)
    for row in range(2):
        order = np.argsort(-np.abs(odds[row]), kind="stable")
        generator, basis = eliminated(code.generator, order)
        # rows of the list's generator go by its own numbers: known by the penalties of single flips
        hard = (odds[row, basis] > 0).astype(np.uint8)
        flips = np.zeros((found.listed.shape[1], code.k), np.uint8)
        places = [(), *((i,) for i in range(code.k)), *itertools.combinations(range(code.k), 2)]
        for at, place in enumerate(places):
            flips[at, list(place)] = 1
        costs = -(product(hard ^ flips, generator) * odds[row]).sum(axis=1)
        assert np.array_equal(np.sort(found.listed[row]), np.sort(costs - costs[0]))
        true = word[row, basis] ^ hard
        assert found.flipped[row].sum() == true.sum()
        assert np.array_equal(np.sort(found.penalty[row]), np.sort(np.abs(odds[row, basis])))
        if true.sum() <= 2:
            own = -(word[row] * odds[row]).sum() - costs[0]
            assert found.listed[row, found.index[row]] == own
        else:
            assert found.index[row] == -1


def test_every_pair_of_flips_has_its_own_place_in_the_list() -> None:
    """All 1 + 30 + 435 words of an order-2 list, sent one after another."""
    code = bch(63, 30)
    odds = on_grid(np.random.default_rng(4).normal(0, 3, code.n))
    generator, basis = eliminated(code.generator, np.argsort(-np.abs(odds), kind="stable"))
    flips = np.zeros((466, 30), np.uint8)
    for at, place in enumerate([(), *((i,) for i in range(30)), *itertools.combinations(range(30), 2)]):
        flips[at, list(place)] = 1
    words = product((odds[basis] > 0).astype(np.uint8) ^ flips, generator)
    found = reprocess(np.tile(odds, (466, 1)), words, code.generator)
    assert sorted(found.index.tolist()) == list(range(466))
    costs = -(words * odds).sum(axis=1)
    assert np.array_equal(found.listed[np.arange(466), found.index], costs - costs[0])


def test_chunks_do_not_know_of_each_other(monkeypatch: pytest.MonkeyPatch) -> None:
    code = bch(31, 16)
    symbols, linear, _ = committed(2, code, LABELS["gray"], consecutive_bits(2, 31), rows=40)
    log_prob = believed(2, (*symbols.shape, 4), "smooth")
    together = ordered_statistics(log_prob, LABELS["gray"], linear, symbols)
    monkeypatch.setattr("harness.ordered_statistics.LISTED_AT_ONCE", 1000)
    monkeypatch.setattr("harness.ordered_statistics.PAIRS_AT_ONCE", 600)
    apart = ordered_statistics(log_prob, LABELS["gray"], linear, symbols)
    for name in ("fewer_low", "fewer_high", "upto_low", "upto_high"):
        assert np.array_equal(getattr(together, name), getattr(apart, name))


def test_a_large_code_is_decoded() -> None:
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
    assert (both.upto_high <= 256).all()


def test_words_that_nothing_tells_apart_share_their_places() -> None:
    """All words alike: the eleven that are listed first tie, and so do the others after them."""
    symbols, linear, _ = committed(13, hamming(3), LABELS["bits"], consecutive_bits(1, 7), rows=40)
    blind = np.log(np.full((40, 7, 2), 0.5))
    ranks = ordered_statistics(blind, LABELS["bits"], linear, symbols)
    first = ranks.upto_high <= 11
    assert 0 < first.sum() < 40
    assert (ranks.fewer_high[first] == 0).all()
    assert (ranks.upto_low[first] == 11).all()
    assert (ranks.fewer_low[~first] >= 11).all()


def test_what_is_impossible_stays_within_the_range_of_the_grid() -> None:
    told = np.array([[[0.0, -np.inf], [-np.inf, 0.0], [0.0, 0.0]]])
    assert bit_log_odds(told, LABELS["bits"]).tolist() == [[-8192, 8192, 0]]


def test_the_owners_decoder_comes_first() -> None:
    b = np.array([4.0, 4.0, 4.0])
    ranks = Ranks(fewer_low=b, fewer_high=b + 1, upto_low=b + 1, upto_high=b + 2, surprise=b, work=3.0)
    found = after_own_decoder(ranks, np.array([True, True, False]), np.array([True, False, False]))
    assert found.fewer_low.tolist() == [0, 4, 4]
    assert found.fewer_high.tolist() == [0, 6, 5]
    assert found.upto_low.tolist() == [1, 5, 5]
    assert found.upto_high.tolist() == [1, 7, 6]
    assert found.work == 3.0
