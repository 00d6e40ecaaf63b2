"""Belief and helper data to ranks, against enumeration of every witness."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import log_softmax

from harness import gf2
from harness.contracts import Array, Linear
from harness.decoding import enumerable, ordered_statistics, secret_ranks, witness_bits
from schemes.codes import Code, bch, code, golay23, hamming, repetition

TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
QUATERNARY = np.array([[0, 0], [0, 1], [1, 1], [1, 0]], np.uint8)
BINARY = np.array([[0], [1]], np.uint8)


def disclosed(made: Code, positions: Array, bits: Array, rng: np.random.Generator) -> Linear:
    """What a code-offset of `bits` says, block by block."""
    padded = np.pad(bits, ((0, 0), (0, 1)))
    words = padded[:, positions]  # (rows, blocks, n)
    offset = made.encode(rng.integers(0, 2, (*words.shape[:2], made.k), dtype=np.uint8)) ^ words
    selection = np.eye(made.k, made.n, dtype=np.uint8)
    return Linear(
        positions=positions[None],
        parity=made.parity,
        syndrome=gf2.product(offset, made.parity.T),
        secret_map=selection,
        secret_offset=gf2.product(offset, selection.T),
    )


CASES = {
    "bits": (repetition(3), BINARY, np.arange(6).reshape(2, 3)),
    "whole two-bit symbols and an empty position": (
        hamming(3),
        QUATERNARY,
        np.array([[0, 1, 2, 3, 4, 5, -1]]),
    ),
    "three symbols in two bits": (hamming(3), TERNARY, np.array([[0, 1, 2, 3, 4, 5, -1]])),
    "two blocks": (repetition(3), BINARY, np.array([[0, 1, 2], [3, 4, -1]])),
}


@pytest.mark.parametrize("name", CASES)
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), sharp=st.sampled_from([0.0, 1.0, 4.0]))
def test_against_every_witness(name: str, seed: int, sharp: float) -> None:
    made, labels, positions = CASES[name]
    rng = np.random.default_rng(seed)
    m = int(positions.max()) // labels.shape[1] + 1
    symbols = rng.integers(0, len(labels), (5, m)).astype(np.uint8)
    log_prob = log_softmax(sharp * rng.standard_normal((5, m, len(labels))), axis=2)
    linear = disclosed(made, positions, witness_bits(symbols, labels), rng)
    found = secret_ranks(log_prob, labels, linear, symbols)
    padded = np.pad(
        labels[np.array(list(itertools.product(range(len(labels)), repeat=m)))].reshape(
            -1, m * labels.shape[1]
        ),
        ((0, 0), (0, 1)),
    )
    candidates = np.array(list(itertools.product(range(len(labels)), repeat=m)))
    words = padded[:, positions]
    syndromes = gf2.product(words, made.parity.T)
    for row in range(5):
        fits = (syndromes == linear.syndrome[row]).all(axis=(1, 2))
        score = log_prob[row][np.arange(m), candidates[fits]].sum(axis=1)
        secrets = gf2.product(words[fits], linear.secret_map.T) ^ linear.secret_offset[row]
        probability: dict[bytes, float] = {}
        for secret, value in zip(secrets, np.exp(score), strict=True):
            probability[secret.tobytes()] = probability.get(secret.tobytes(), 0.0) + value
        truth = gf2.product(
            np.pad(witness_bits(symbols[row : row + 1], labels), ((0, 0), (0, 1)))[:, positions],
            linear.secret_map.T,
        )
        own = probability[(truth[0] ^ linear.secret_offset[row]).tobytes()]
        values = np.array(list(probability.values()))
        fewer, upto = (values > own * (1 + 1e-6)).sum(), (values > own * (1 - 1e-6)).sum()
        assert (found.fewer_low[row], found.fewer_high[row]) == (fewer, fewer)
        assert (found.upto_low[row], found.upto_high[row]) == (upto, upto)
        assert found.surprise[row] == pytest.approx(-np.log2(own / values.sum()), abs=1e-5)


def test_a_straddling_symbol_counts_by_its_marginal_in_each_block() -> None:
    # three two-bit symbols over two blocks of three bits: the middle one lies in both
    rng = np.random.default_rng(2)
    positions = np.arange(6).reshape(2, 3)
    symbols = rng.integers(0, 4, (40, 3)).astype(np.uint8)
    log_prob = log_softmax(2 * rng.standard_normal((40, 3, 4)), axis=2)
    linear = disclosed(repetition(3), positions, witness_bits(symbols, QUATERNARY), rng)
    found = secret_ranks(log_prob, QUATERNARY, linear, symbols)
    probability = np.exp(log_prob)
    ones = np.stack([probability @ QUATERNARY[:, b].astype(float) for b in range(2)], axis=2)  # (40, 3, 2)
    truth = witness_bits(symbols, QUATERNARY)
    for row in range(40):
        cost = 0.0
        for block, (whole, inside) in enumerate(((0, 0), (2, 1))):
            words = np.array(list(itertools.product((0, 1), repeat=3)))
            fits = (gf2.product(words, repetition(3).parity.T) == linear.syndrome[row, block]).all(axis=1)
            half, pair = (2, [0, 1]) if block == 0 else (0, [1, 2])
            p_half = np.where(words[:, half] == 1, ones[row, 1, inside], 1 - ones[row, 1, inside])
            index = [int(np.flatnonzero((w[pair] == QUATERNARY).all(axis=1))[0]) for w in words]
            score = np.log(p_half * probability[row, whole, index])[fits]
            own = (words[fits] == truth[row, positions[block]]).all(axis=1)
            cost += float(np.log(np.exp(score).sum()) - score[own][0])
        assert found.surprise[row] == pytest.approx(cost / np.log(2), abs=1e-5)


def test_positions_may_differ_between_attempts() -> None:
    rng = np.random.default_rng(4)
    symbols = rng.integers(0, 2, (6, 8)).astype(np.uint8)
    log_prob = log_softmax(rng.standard_normal((6, 8, 2)), axis=2)
    chosen = np.stack([rng.permutation(8)[:7] for _ in range(6)])
    parts, joined = [], []
    for row in range(6):
        linear = disclosed(hamming(3), chosen[row][None], symbols[row : row + 1], rng)
        parts.append(
            secret_ranks(log_prob[row : row + 1], BINARY, linear, symbols[row : row + 1]).surprise[0]
        )
        joined.append(linear)
    together = Linear(
        positions=np.concatenate([x.positions for x in joined]),
        parity=joined[0].parity,
        syndrome=np.concatenate([x.syndrome for x in joined]),
        secret_map=joined[0].secret_map,
        secret_offset=np.concatenate([x.secret_offset for x in joined]),
    )
    assert secret_ranks(log_prob, BINARY, together, symbols).surprise.tolist() == parts


def test_secrets_that_several_words_lead_to_are_summed() -> None:
    # all of [7,4] kept as secret but one message bit: two words to every secret
    rng = np.random.default_rng(6)
    symbols = rng.integers(0, 2, (30, 7)).astype(np.uint8)
    log_prob = log_softmax(rng.standard_normal((30, 7, 2)), axis=2)
    whole = disclosed(hamming(3), np.arange(7)[None], symbols, rng)
    fewer = Linear(
        positions=whole.positions,
        parity=whole.parity,
        syndrome=whole.syndrome,
        secret_map=whole.secret_map[:3],
        secret_offset=whole.secret_offset[:, :, :3],
    )
    one, two = (secret_ranks(log_prob, BINARY, x, symbols) for x in (whole, fewer))
    assert (two.surprise < one.surprise).all()
    assert (two.upto_high <= 8).all()
    assert one.upto_high.max() > 8


def runnable(made: Code, values: Array) -> list[Array]:
    """The first-order list of one word, made by elimination one row at a time: code words, best first."""
    order = np.argsort(-np.abs(values), kind="stable")
    basis: list[int] = []
    work = made.generator.copy()
    for column in order:
        rows = [r for r in range(len(basis), made.k) if work[r, column]]
        if not rows:
            continue
        work[[len(basis), rows[0]]] = work[[rows[0], len(basis)]]
        for r in range(made.k):
            if r != len(basis) and work[r, column]:
                work[r] ^= work[len(basis)]
        basis.append(int(column))
        if len(basis) == made.k:
            break
    hard = (values[basis] > 0).astype(np.uint8)
    base = (hard @ work.astype(int) % 2).astype(np.uint8)
    listed = [base, *[base ^ row for row in work]]
    return sorted(listed, key=lambda w: -float(np.where(w == 1, values, -values).sum()))


@pytest.mark.parametrize("made", [hamming(3), bch(15, 7), golay23()], ids=lambda c: c.name)
def test_ordered_statistics_is_a_list_that_can_be_run(made: Code) -> None:
    rng = np.random.default_rng(8)
    rows = 60
    bits = rng.integers(0, 2, (rows, made.n)).astype(np.uint8)
    linear = disclosed(made, np.arange(made.n)[None], bits, rng)
    llr = (2.0 * bits - 1) * 1.6 + 1.3 * rng.standard_normal(bits.shape)
    log_prob = np.stack([-np.logaddexp(0, llr), -np.logaddexp(0, -llr)], axis=2)
    found = ordered_statistics(log_prob, BINARY, linear, bits)
    start = gf2.solver(made.parity).particular(linear.syndrome)[:, 0]
    listed = 0
    for row in range(rows):
        tried = runnable(made, np.where(start[row] == 1, -llr[row], llr[row]))
        place = [i for i, word in enumerate(tried) if np.array_equal(word ^ start[row], bits[row])]
        if place:
            listed += 1
            assert found.fewer_low[row] == found.fewer_high[row] == place[0]
        else:
            assert found.fewer_low[row] >= made.k + 1
    assert 0.4 * rows < listed < rows  # both branches were seen


def test_ordered_statistics_against_enumeration_of_a_small_code() -> None:
    made = golay23()
    rng = np.random.default_rng(9)
    bits = rng.integers(0, 2, (300, 23)).astype(np.uint8)
    linear = disclosed(made, np.arange(23)[None], bits, rng)
    llr = (2.0 * bits - 1) * 1.2 + 1.5 * rng.standard_normal(bits.shape)
    log_prob = np.stack([-np.logaddexp(0, llr), -np.logaddexp(0, -llr)], axis=2)
    listed = ordered_statistics(log_prob, BINARY, linear, bits)
    best = secret_ranks(log_prob, BINARY, linear, bits)
    # no attack does better than enumeration on average; on 300 words the list may win a few and lose a few
    first, ideal = (float(x.success(1, offline=False)[0].mean()) for x in (listed, best))
    assert abs(first - ideal) < 0.05
    assert float((listed.fewer_high - best.fewer_high).mean()) > 0


def test_a_lost_position_is_certain() -> None:
    made = code("bch-15-7")
    rng = np.random.default_rng(10)
    bits = rng.integers(0, 2, (50, 14)).astype(np.uint8)
    positions = np.array([[*range(14), -1]])
    linear = disclosed(made, positions, bits, rng)
    flat = np.full((50, 14, 2), np.log(0.5))
    assert enumerable(linear)
    found = secret_ranks(flat, BINARY, linear, bits)
    assert found.upto_high.tolist() == [64.0] * 50  # seven message bits less the empty position
