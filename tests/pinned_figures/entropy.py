"""Entropy of symbols: every estimator on short and long, even and uneven, free and dependent ones."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.estimators.entropy import (
    bitstring,
    by_subject,
    ceilings,
    chi_square,
    collision,
    compression,
    contexts,
    counting,
    health,
    iid,
    lag,
    lz78y,
    markov,
    most_common,
    non_iid,
    permutation_statistics,
    permutations,
    predictions,
    restart,
    scoreboard,
    sequences,
    stretch_ceilings,
    suffixes,
    tuples,
    whole_symbols,
    window,
)
from pinned_figures.plain import tried


def drawn(seed: int, n: int, kinds: int, stay: float = 0.0) -> Array:
    """Symbols of falling shares that repeat the one before with a chance of `stay`."""
    rng = np.random.default_rng(seed)
    shares = 1.0 / np.arange(1, kinds + 1)
    symbols = rng.choice(kinds, n, p=shares / shares.sum())
    for i in np.flatnonzero(rng.random(n) < stay).tolist():
        symbols[i] = symbols[max(i - 1, 0)]
    return np.asarray(symbols)


def sequences_of(*lengths: int) -> Iterator[Array]:
    for n in lengths:
        for kinds, stay in ((2, 0.0), (2, 0.6), (3, 0.3), (5, 0.0), (40, 0.5)):
            yield drawn(n + kinds, n, kinds, stay)
        yield np.zeros(n, int)
        yield np.arange(n) % 3
        yield np.random.default_rng(n).integers(0, 2, n)


LENGTHS = (1, 2, 3, 4, 5, 9, 17, 18, 19, 40, 66, 130, 700)


def over(function: Callable[..., Any], *lengths: int, **named: Any) -> Any:
    return [tried(function, s, **named) for s in sequences_of(*(lengths or LENGTHS))]


def numbered(function: Callable[..., Any], *lengths: int, **named: Any) -> Any:
    """For functions that take symbols already counted up from 0."""
    found = []
    for symbols in sequences_of(*(lengths or LENGTHS[2:])):
        numbers, _ = sequences.codes(symbols, least=1, needs="a figure")
        found.append(tried(function, numbers, **named))
    return found


def alphabets(function: Callable[..., Any], **named: Any) -> Any:
    """For functions that are also told how many kinds there are."""
    found = []
    for symbols in sequences_of(3, 9, 40, 130, 700):
        numbers, kinds = sequences.codes(symbols, least=1, needs="a figure")
        found.append(tried(function, numbers, kinds, **named))
    return found


def long_stretches(function: Callable[..., Any], **named: Any) -> Any:
    """What is repeated over more than a word of bits, more than once, and close to the end."""
    part = drawn(7, 200, 2)
    rows = [
        np.r_[part, part],
        np.r_[part, drawn(8, 70, 2), part[:150], part[20:170], drawn(9, 5, 2)],
        np.tile(drawn(3, 90, 4), 5),
        np.tile([0, 1], 150),
        np.r_[np.zeros(160, int), 1, np.zeros(160, int), 1, np.zeros(90, int)],
    ]
    found = []
    for row in rows:
        numbers, kinds = sequences.codes(row, least=1, needs="a figure")
        found.append(tried(function, numbers, kinds, **named))
    return found


def walked(seed: int, n: int, kinds: int) -> Any:
    """All that contexts tell of one sequence, from no symbol back to five."""
    numbers, _ = sequences.codes(drawn(seed, n, kinds, 0.4), least=1, needs="a figure")
    found: list[Any] = []
    for start in (0, 2):
        at = contexts.empty_context(numbers, start)
        for depth in range(1, 6):
            at = contexts.deeper(at, numbers, depth)
            count = contexts.follow_counts(at)
            found += [at, count, contexts.births(at), contexts.foretold(at, count)]
            if kinds == 2:
                found.append(contexts.foretold_bits(at))
            at = contexts.recurring(at)
            found.append(at)
    return found


def runs_of_right(function: Callable[..., Any]) -> Any:
    rows = [np.zeros(5, bool), np.ones(5, bool), np.array([True, True, False, True])]
    rows += [np.random.default_rng(n).random(n) < 0.5 for n in (2, 3, 30, 500)]
    return [tried(function, row) for row in rows]


def restarts(rows: int, columns: int, kinds: int, initial: float) -> Any:
    matrix = drawn(rows, rows * columns, kinds, 0.2).reshape(rows, columns)

    def bits(symbols: Array) -> float:
        return most_common.most_common_value(symbols).value

    return [
        tried(restart.restart_test, matrix, initial=initial, estimate=bits),
        tried(restart.restart_test, matrix, initial=initial, estimate=bits, alphabet=kinds + 3),
        tried(restart.common_counts, matrix),
    ]


def rows_in_order(binary: bool) -> Any:
    rng = np.random.default_rng(3)
    found = []
    for n in (2, 3, 8, 9, 17, 64, 300):
        rows = rng.integers(0, 2 if binary else 7, (4, n)).astype(np.uint8)
        middle = 0.5 if binary else float(np.median(rows[0]))
        found.append(tried(permutation_statistics.order_statistics, rows, binary=binary, middle=middle))
    return found


def people(n: int, m: int, kinds: int) -> tuple[Array, Array]:
    return drawn(n, n * m, kinds, 0.3).reshape(n, m), np.arange(n) // 3


FIGURES: dict[str, Callable[[], Any]] = {
    "most-common": lambda: over(most_common.most_common_value),
    "worst-subject": lambda: [tried(most_common.worst_subject, *people(7, m, 3)) for m in (0, 1, 2, 30)],
    "collision": lambda: over(collision.collision),
    "collision-times": lambda: [tried(collision.collision_times, s) for s in sequences_of(2, 3, 4, 9, 66)],
    "collision-limit": lambda: [
        collision.collision_times_limit(float(twos), float(threes))
        for twos, threes in ((0, 3), (3, 0), (5, 5), (40, 41), (1000, 1001))
    ],
    "collision-ceiling": lambda: [tried(collision.collision_ceiling, n) for n in (0, 1, 4, 5, 9, 40, 1000)],
    "markov": lambda: over(markov.markov),
    "compression": lambda: [
        over(compression.compression, 9, 60, 700, block=block, initial=initial)
        for block, initial in ((1, 5), (2, 4), (6, 10), (3, 20))
    ],
    "log-distances": lambda: [
        tried(compression.log_distances, drawn(5, n, 2), block=2, initial=4) for n in (9, 11, 12, 13, 60)
    ],
    "compression-ceiling": lambda: [
        tried(compression.compression_ceiling, n, block=2, initial=4) for n in (9, 11, 12, 13, 60, 500)
    ],
    "log-distance-expected": lambda: [
        compression.expected_log_distance(p, block=block, initial=4, blocks=blocks)
        for p in (0.25, 0.5, 0.9)
        for block in (1, 2, 6)
        for blocks in (5, 6, 40)
    ],
    "t-tuple": lambda: [over(tuples.t_tuple, cutoff=cutoff) for cutoff in (1, 2, 3, 5, 35)],
    "longest-repeated-substring": lambda: [
        over(tuples.longest_repeated_substring, cutoff=cutoff) for cutoff in (2, 3, 5, 35)
    ],
    "common-lengths": lambda: alphabets(suffixes.common_lengths),
    "common-lengths-long": lambda: long_stretches(suffixes.common_lengths),
    "tuple-counts": lambda: [alphabets(tuples.tuple_counts, cutoff=c) for c in (2, 3, 4, 6, 35)],
    "tuple-counts-long": lambda: [long_stretches(tuples.tuple_counts, cutoff=c) for c in (2, 3, 4, 7)],
    "repeated-pairs": lambda: [alphabets(tuples.repeated_pairs, cutoff=c) for c in (2, 3, 4, 6, 35)],
    "repeated-pairs-long": lambda: [long_stretches(tuples.repeated_pairs, cutoff=c) for c in (2, 3, 5, 7)],
    "lag": lambda: [over(lag.lag, lags=lags) for lags in (0, 1, 2, 7, 128)],
    "lag-hits": lambda: [numbered(lag.lag_hits, lags=lags) for lags in (1, 2, 7, 128)],
    "window": lambda: [
        over(window.multi_most_common_in_window, windows=w) for w in ((1,), (2, 3), (5, 9, 20), (63, 255))
    ],
    "window-standard": lambda: over(window.multi_most_common_in_window, 63, 64, 65, 300, 900),
    "window-hits": lambda: [numbered(window.window_hits, windows=w) for w in ((1,), (2, 3), (5, 9, 20))],
    "multi-markov": lambda: [
        over(counting.multi_markov, depth=depth, entries=entries)
        for depth, entries in ((0, 9), (1, 0), (1, 3), (3, 20), (16, 100_000))
    ],
    "counting-hits": lambda: [
        numbered(counting.counting_hits, depth=depth, entries=entries)
        for depth, entries in ((1, 3), (3, 7), (5, 40), (16, 100_000))
    ],
    "lz78y": lambda: [
        over(lz78y.lz78y, longest=longest, entries=entries)
        for longest, entries in ((0, 9), (1, 3), (3, 20), (16, 65_536))
    ],
    "lz78y-hits": lambda: [
        numbered(lz78y.lz78y_hits, longest + 1, longest + 2, 40, 66, 700, longest=longest, entries=entries)
        for longest, entries in ((1, 3), (3, 7), (5, 40), (16, 65_536))
    ],
    "contexts-bits": lambda: walked(1, 60, 2),
    "contexts-symbols": lambda: [walked(2, 90, 3), walked(3, 200, 300)],
    "predictions": lambda: [
        tried(predictions.from_predictions, "lag", row, kinds, attempts=2, subjects=3)
        for row in (np.zeros(9, bool), np.ones(9, bool), np.arange(300) % 3 > 0, np.arange(2) > 0)
        for kinds in (2, 5)
    ],
    "global-limit": lambda: [
        predictions.global_limit(k, n) for n in (2, 10, 500) for k in (0, 1, n - 1, n)
    ],
    "longest-run": lambda: runs_of_right(predictions.longest_run),
    "local-limit": lambda: [
        predictions.local_limit(k, n) for n in (2, 10, 500) for k in (0, 1, 2, n - 1, n)
    ],
    "right-by-the-best": lambda: [
        scoreboard.right_by_the_best(scoreboard.packed(rows, n), n)
        for n in (1, 7, 256, 257, 700)
        for rows in [list(np.random.default_rng(n).random((5, n)) < 0.5)]
    ],
    "codes": lambda: [
        tried(sequences.codes, s, least=least, needs="a figure")
        for least in (0, 1, 3)
        for s in (
            np.array([], int),
            np.array([5, 5]),
            np.array([-3, 0, 300]),
            np.arange(300),
            np.array([0.5]),
        )
    ],
    "only-bits": lambda: [
        tried(sequences.only_bits, np.array(s), least=2, needs="a figure")
        for s in ([0], [0, 1], [1, 2], [True])
    ],
    "upper-share": lambda: [
        sequences.upper_share(p, n) for p in (0.0, 0.2, 0.99, 1.0) for n in (2, 3, 1000)
    ],
    "as-estimate": lambda: [
        sequences.as_estimate("lag", p, symbols=s, has_limit=limit, attempts=2, subjects=3)
        for p in (0.1, 1.0)
        for s in (1, 4)
        for limit in (True, False)
    ],
    "stretch-ceilings": lambda: [
        [
            tried(stretch_ceilings.t_tuple_ceiling, n, kinds, cutoff=cutoff),
            tried(stretch_ceilings.longest_repeated_substring_ceiling, n, kinds, cutoff=cutoff),
        ]
        for n in (1, 2, 10, 100, 3000)
        for kinds in (1, 2, 5)
        for cutoff in (2, 5, 35)
    ],
    "ceilings": lambda: [
        tried(ceilings.ceiling, method, n, kinds, likeliest=likeliest)
        for method in non_iid.ESTIMATORS
        for n in (1, 2, 3, 4, 18, 19, 64, 65, 66, 3000)
        for kinds, likeliest in ((2, 0.0), (2, 0.7), (6, 0.0))
    ],
    "most-of-any": lambda: [
        ceilings.most_of_any(n, kinds) for n in (2, 3, 10, 1000) for kinds in (2, 3, 7)
    ],
    "bits-of-alphabet": lambda: [
        tried(bitstring.bits_of_alphabet, k) for k in (1, 2, 3, 5, 2**16, 2**16 + 1)
    ],
    "bitstring": lambda: [
        tried(bitstring.bitstring, np.array(s), bits)
        for s, bits in (([], 3), ([7, 0], 3), ([8], 3), ([-1], 3), ([1], 0), ([65_535], 16), ([1], 17))
    ],
    "likeliest-bit": lambda: [bitstring.likeliest_bit(k) for k in (2, 3, 5, 6, 9, 100)],
    "whole-symbols": lambda: [
        tried(whole_symbols.whole_symbols, np.array(s)) for s in ([], [1, 2], [[1]], [True], [0.0], ["a"])
    ],
    "binned": lambda: [
        chi_square.binned(np.array(s))
        for s in ([5.0], [4.9], [1.0, 4.0], [5, 5, 4.0], [9, 1, 3, 2, 4.5], [2.5] * 7, [1, 2, 6.0, 0])
    ],
    "independence": lambda: over(chi_square.independence, 9, 40, 130, 700, 3000),
    "goodness-of-fit": lambda: over(chi_square.goodness_of_fit, 9, 40, 99, 100, 700, 3000),
    "longest-repeat": lambda: over(iid.longest_repeat, 2, 3, 9, 40, 300),
    "repeat-chance": lambda: over(iid.repeat_chance, 2, 3, 9, 40, 300),
    "iid": lambda: [
        tried(iid.iid_assessment, s, rng=np.random.default_rng(1), permutations=1700)
        for s in (drawn(1, 120, 2), drawn(2, 200, 5, 0.3), drawn(3, 64, 40))
    ],
    "tail-count": lambda: [tried(permutations.tail_count, n) for n in (10, 1999, 2000, 3999, 4000, 10_000)],
    "permutations": lambda: [
        tried(
            permutations.permutation_counts,
            s,
            rng=np.random.default_rng(4),
            permutations=n,
            tail=tail,
        )
        for s in (drawn(1, 90, 2), drawn(2, 70, 5, 0.3), drawn(2, 1, 5))
        for n, tail in ((30, 0), (70, 2))
    ],
    "order-statistics-bits": lambda: rows_in_order(True),
    "order-statistics-symbols": lambda: rows_in_order(False),
    "blocks-of-eight": lambda: [
        [permutation_statistics.block_ones(rows), permutation_statistics.block_values(rows)]
        for n in (1, 7, 8, 9, 16, 30)
        for rows in [np.random.default_rng(n).integers(0, 2, (2, n)).astype(np.uint8)]
    ],
    "non-iid": lambda: over(non_iid.non_iid, 2, 40, 700),
    "non-iid-alphabet": lambda: [
        tried(non_iid.non_iid, drawn(3, 300, 4), alphabet=k, attempts=4, subjects=2) for k in (1, 3, 4, 9)
    ],
    "by-subject": lambda: [tried(by_subject.worst_of, *people(7, m, 3), alphabet=4) for m in (1, 40, 150)],
    "health": lambda: [
        tried(health.cutoffs, h, binary=binary, alpha=alpha)
        for h in (0.0, 0.001, 0.3, 1.0, 7.5)
        for binary in (True, False)
        for alpha in (2.0**-20, 0.5, 0.0)
    ],
    "restart": lambda: [
        restarts(9, 7, 3, 0.8),
        restarts(40, 30, 2, 0.2),
        restarts(2, 2, 2, 3.0),
        restarts(1, 5, 2, 1),
    ],
    "sanity-cutoff": lambda: [
        tried(restart.sanity_cutoff, n, h, tests=tests, alphabet=k)
        for n in (0, 1, 10, 1000)
        for h in (-1.0, 0.0, 0.5, 3.0)
        for tests, k in ((1, 2), (2000, 256))
    ],
}
