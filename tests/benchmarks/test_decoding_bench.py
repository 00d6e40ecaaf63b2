"""Sharpening beliefs by helper data, as ratios in one run: one thread, processor time."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from committed_keys import LABELS, committed
from threadpoolctl import threadpool_limits

from harness import gf2
from harness.contracts import Array
from harness.decoding import _candidates, _layout, _pattern_codes, _word_costs, secret_ranks
from harness.ordered_statistics import ordered_statistics, reprocess
from harness.ranking import on_grid
from schemes.codes import bch, golay23
from schemes.commitment import consecutive_bits


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    with threadpool_limits(1):
        yield


def seconds(run: Callable[[], object], *, repeats: int) -> float:
    run()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times)


def noisy(symbols: Array, sigma: float) -> Array:
    """(rows, bits) log-odds of 1 by a Gaussian channel."""
    sent = 2.0 * symbols - 1
    return on_grid((sent + np.random.default_rng(0).normal(0, sigma, sent.shape)) * 2 / sigma**2)


def by_loop(odds: Array, generator: Array) -> list[Array]:
    """Order 2, word by word: the best of all words with at most two flips in the most reliable basis."""
    best = []
    for values in odds:
        work, row = generator.copy(), 0
        basis = []
        for column in np.argsort(-np.abs(values), kind="stable").tolist():
            rows = np.flatnonzero(work[row:, column])
            if rows.size:
                work[[row, row + rows[0]]] = work[[row + rows[0], row]]
                others = np.flatnonzero(work[:, column])
                work[others[others != row]] ^= work[row]
                basis.append(column)
                row += 1
                if row == len(work):
                    break
        word = np.bitwise_xor.reduce(work[values[basis] > 0], axis=0)
        found, score = word, word @ values
        for i in range(len(work)):
            flipped = word ^ work[i]
            candidates = np.concatenate([flipped[None], flipped ^ work[i + 1 :]])
            scores = candidates @ values
            if scores.max() > score:
                found, score = candidates[scores.argmax()], scores.max()
        best.append(found)
    return best


@pytest.mark.parametrize(("n", "k", "words", "goal"), [(127, 64, 10_000, 16), (255, 131, 1000, 5)])
def test_ordered_statistics_against_a_loop_over_words(n: int, k: int, words: int, goal: float) -> None:
    """The ranking of the whole attack comes on top and is printed beside.

    The longer code needs three machine words for a column, and its loop has more to do at each step.
    """
    code, few = bch(n, k), 100
    symbols, linear, _ = committed(1, code, LABELS["bits"], consecutive_bits(1, n), rows=words)
    word = code.encode(np.random.default_rng(1).integers(0, 2, (words, k), dtype=np.uint8))
    odds = noisy(word, 0.75)
    part = max(1, 1_000_000 // (k * k))

    def ours() -> list[Array]:
        starts = range(0, words, part)
        return [
            reprocess(odds[i : i + part], word[i : i + part], code.generator).listed.argmin(axis=1)
            for i in starts
        ]

    found = by_loop(odds[:few], code.generator)
    mine = reprocess(odds[:few], word[:few], code.generator)
    right = np.array([np.array_equal(a, b) for a, b in zip(found, word, strict=False)])
    assert np.array_equal(right, mine.index == mine.listed.argmin(axis=1))
    told = noisy(symbols, 0.75)
    log_prob = -np.logaddexp(0, np.stack([told, -told], axis=2))
    ours_s = seconds(ours, repeats=3)
    whole_s = seconds(lambda: ordered_statistics(log_prob, LABELS["bits"], linear, symbols), repeats=1)
    theirs_s = seconds(lambda: by_loop(odds[:few], code.generator), repeats=2) * words / few
    print(
        f"\n{code.name}, order 2, {words} words: {ours_s:.2f} s against {theirs_s:.1f} s, "
        f"{theirs_s / ours_s:.1f} times; with ranks {whole_s:.2f} s"
    )
    assert theirs_s > goal * ours_s


def test_golay_posteriors_against_a_plain_product() -> None:
    """10^5 blocks; the alternative multiplies log-odds by all words in float64 and takes the best.

    Ours takes symbols of any alphabet, what is impossible and bits that straddle blocks, and adds exactly,
    so that equal words tie: that needs float64. In float32, with complements paired, the product takes half
    the time, but most blocks seen with two sizes of log-odds lose a tie; and a key's costs of words are a
    tenth of what ranking it takes.
    """
    code, blocks, part = golay23(), 100_000, 32
    symbols, linear, _ = committed(2, code, LABELS["bits"], consecutive_bits(1, 23), rows=4096)
    told = noisy(symbols, 1.0)
    log_prob = -np.logaddexp(0, np.stack([told, -told], axis=2))
    candidates = _candidates(linear)
    start = candidates.space.particular(linear.syndrome[:, 0])
    words = gf2.product(gf2.all_words(12), code.generator).astype(np.float64)

    def plain() -> list[Array]:
        signed = np.where(start == 1, -told, told)
        return [(signed[i : i + part] @ words.T).argmax(axis=1) for i in range(0, 4096, part)]

    block = _layout(linear.positions[0, 0], LABELS["bits"])
    codes = _pattern_codes(block.columns, candidates.null_words)

    def ours() -> list[Array]:
        return [
            _word_costs(log_prob[i : i + part], block, codes, start[i : i + part]).argmin(axis=1)
            for i in range(0, 4096, part)
        ]

    chosen = candidates.null_words[np.concatenate(ours())]
    assert (chosen == words[np.concatenate(plain())]).all(axis=1).all()
    more = blocks / 4096
    plain_s, ours_s = seconds(plain, repeats=3) * more, seconds(ours, repeats=3) * more
    whole_s = more * seconds(lambda: secret_ranks(log_prob, LABELS["bits"], linear, symbols), repeats=1)
    print(
        f"\ngolay posteriors, {blocks} blocks: {ours_s:.2f} s against {plain_s:.2f} s, "
        f"{plain_s / ours_s:.2f} times; with ranks {whole_s:.2f} s"
    )
    assert ours_s < 2 * plain_s
