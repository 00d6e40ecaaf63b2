"""What helper data leave of a key, as ratios against what one would write first, in one run.

Both sides run in one thread and are timed by processor time. The measured ratios are printed.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from harness.estimators.entropy.fitted_markov import markov_min_entropy
from harness.estimators.entropy.joint_min_entropy import joint_min_entropy
from harness.estimators.entropy.joint_trellis import best_tables, sections
from harness.estimators.entropy.sampled_min_entropy import sampled_min_entropy
from harness.estimators.entropy.symbol_chains import SymbolChain, fitted_chain, stationary_chain
from harness.streams import stream
from schemes.codes import code

TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
GRAY = np.array([[0, 0], [0, 1], [1, 1], [1, 0]], np.uint8)
GOLAY = code("golay-23-12").parity


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    with threadpool_limits(1):
        yield


def seconds(run: Callable[[], object], *, repeats: int) -> float:
    times = []
    for _ in range(repeats):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times)


def steady(share: float, symbols: int) -> SymbolChain:
    return stationary_chain(np.full((3, 3), (1 - share) / 2) + np.eye(3) * (1.5 * share - 0.5), symbols)


def test_one_golay_block_against_a_loop_over_its_words() -> None:
    """Ternary symbols that stay with .7; the loop visits every word once."""
    chain = steady(0.7, 12)
    columns = ((1 << np.arange(11)) @ GOLAY.astype(int)).tolist()
    start, step = chain.start.tolist(), chain.steps[0].tolist()
    labels = [tuple(row) for row in TERNARY.tolist()]

    def loop() -> float:
        best: dict[int, float] = {}
        for symbols in itertools.product(range(3), repeat=11):
            p, syndrome = start[symbols[0]], 0
            for before, after in itertools.pairwise(symbols):
                p *= step[before][after]
            for t, symbol in enumerate(symbols):
                for j in (0, 1):
                    if labels[symbol][j]:
                        syndrome ^= columns[2 * t + j]
            last = step[symbols[-1]]
            for bit, share in ((0, last[0] + last[1]), (1, last[2])):  # of the twelfth symbol's first bit
                own = syndrome ^ columns[22] * bit
                best[own] = max(best.get(own, 0.0), p * share)
        return -float(np.log2(sum(best.values())))

    def ours() -> float:
        return joint_min_entropy(GOLAY, np.arange(23)[None], TERNARY, chain)

    assert ours() == pytest.approx(loop(), abs=1e-12)
    fast, slow = seconds(ours, repeats=5), seconds(loop, repeats=1)
    print(f"\none Golay block: {fast * 1e3:.2f} ms against {slow * 1e3:.0f} ms, {slow / fast:.0f} times")
    assert slow / fast >= 50


def test_three_blocks_against_keeping_every_set_of_syndromes_apart() -> None:
    """2^33 sets for three blocks, of which the alternative is timed on those of one first syndrome.

    Twelve blocks would have 2^132; what ours takes for them is printed.
    """
    chain = steady(0.7, 138)
    positions = np.arange(276).reshape(12, 23)
    first, second, third = best_tables(sections(GOLAY, positions[:3], TERNARY, chain))[0]

    def apart() -> float:
        ends = (first[0, :, 0, None, None] * second).max(axis=0)  # (states, 2^11)
        return sum(float((own[:, None, None] * third).max(axis=(0, 1)).sum()) for own in ends.T)

    def ours(blocks: int) -> float:
        return joint_min_entropy(GOLAY, positions[:blocks], TERNARY, chain)

    fast, slow = seconds(lambda: ours(3), repeats=3), seconds(apart, repeats=1) * 2**11
    print(f"\nthree blocks: {fast * 1e3:.1f} ms against {slow:.0f} s, {slow / fast:.0f} times")
    print(f"twelve blocks, exact: {seconds(lambda: ours(12), repeats=2):.3f} s")
    rng = stream(0, "bench")
    found = sampled_min_entropy(GOLAY, positions, TERNARY, chain, rng=rng, draws=200)
    drawn = seconds(
        lambda: sampled_min_entropy(GOLAY, positions, TERNARY, chain, rng=rng, draws=200), repeats=2
    )
    print(f"twelve blocks, 200 draws: {drawn:.2f} s for [{found.low:.2f}, {found.high:.2f}] bit")
    assert slow / fast >= 100


def test_a_source_fitted_to_people_against_drawing_anew_for_each_group_left_out() -> None:
    """60 people of ten attempts, 132 symbols of four kinds, eleven extended Golay blocks."""
    rng = stream(0, "people")
    step = rng.dirichlet(np.full(4, 5.0), 4)
    upto = step.cumsum(axis=1)
    symbols = np.zeros((600, 132), np.uint8)
    for t in range(1, 132):
        symbols[:, t] = (rng.random(600)[:, None] > upto[symbols[:, t - 1], :3]).sum(axis=1)
    subject = np.arange(600) // 10
    parity, positions = code("golay-24-12").parity, np.arange(264).reshape(11, 24)

    def ours() -> object:
        source = {"labels": GRAY, "parity": parity, "positions": positions}
        return markov_min_entropy(symbols, subject, limit=128, rng=stream(0, "draws"), **source)

    def anew() -> None:
        for group in range(-1, 10):
            chain = fitted_chain(symbols[subject % 10 != group], alphabet=4)
            sampled_min_entropy(parity, positions, GRAY, chain, rng=stream(0, "draws"), draws=100)

    fast, slow = seconds(ours, repeats=2), seconds(anew, repeats=1)
    print(f"\na fitted source: {fast:.2f} s against {slow:.1f} s, {slow / fast:.1f} times")
    assert slow / fast >= 2.5
