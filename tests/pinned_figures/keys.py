"""What is left of keys: given helper data, over a channel, per second, and by ranks."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.estimators import (
    extraction_length,
    keyrate,
    keyrate_beliefs,
    keyrate_symbols,
    ledger,
    rate,
    record,
)
from harness.estimators.entropy import (
    block_words,
    fitted_markov,
    given_helper,
    joint_min_entropy,
    joint_trellis,
    sampled_min_entropy,
    symbol_chains,
)
from harness.ranking import concatenate, merge_blocks, on_grid, product_ranks
from pinned_figures.people import estimate
from pinned_figures.plain import tried

GRAY = np.array([[0, 0], [0, 1], [1, 1], [1, 0]], np.uint8)
TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
SINGLE = np.array([[0], [1]], np.uint8)
HAMMING = np.array([[1, 0, 1, 0, 1, 0, 1], [0, 1, 1, 0, 0, 1, 1], [0, 0, 0, 1, 1, 1, 1]], np.uint8)
PARITY = np.ones((1, 2), np.uint8)
TWO = np.array([[1, 1, 0, 1], [0, 1, 1, 1]], np.uint8)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def symbols_of(people: int, each: int, m: int, alphabet: int) -> tuple[Array, Array]:
    """Symbols that dwell, with shares of each person's own."""
    draw = rng(people)
    rows = []
    for _ in range(people * each):
        row = draw.choice(alphabet, m, p=draw.dirichlet(np.arange(2, alphabet + 2)))
        dwell = np.flatnonzero(draw.random(m - 1) < 0.3) + 1
        row[dwell] = row[dwell - 1]
        rows.append(row)
    return np.array(rows).reshape(people * each, m).astype(np.uint8), np.repeat(np.arange(people), each)


LAYOUTS = [  # labels, parity, positions
    (SINGLE, PARITY, np.arange(6).reshape(3, 2)),
    (SINGLE, HAMMING, np.arange(14).reshape(2, 7)),
    (GRAY, TWO, np.arange(12).reshape(3, 4)),
    (TERNARY, HAMMING, np.array([[0, 1, 2, 3, 4, 5, -1], [6, 7, 8, 9, 10, 11, -1]])),
    (GRAY, HAMMING, np.arange(14).reshape(2, 7)),
    (GRAY, PARITY, np.array([[0, 2], [1, 3]])),
]


def chains(alphabet: int, m: int) -> list[Any]:
    dwell = np.full((alphabet, alphabet), 0.3 / alphabet) + 0.7 * np.eye(alphabet)
    tilted = np.arange(1, alphabet + 1) / np.arange(1, alphabet + 1).sum()
    symbols, _ = symbols_of(4, 3, m, alphabet)
    return [
        symbol_chains.independent_symbols(np.full((m, alphabet), 1 / alphabet)),
        symbol_chains.independent_symbols(np.tile(tilted, (m, 1))),
        symbol_chains.stationary_chain(dwell, m),
        symbol_chains.fitted_chain(symbols, alphabet=alphabet, smoothing=0.5),
    ]


def sources() -> Any:
    for labels, parity, positions in LAYOUTS:
        m = -(-(int(positions.max()) + 1) // labels.shape[1])
        for chain in chains(len(labels), m):
            yield labels, parity, positions, chain


def joints() -> Any:
    found = []
    for labels, parity, positions, chain in sources():
        found += [
            tried(joint_min_entropy.joint_min_entropy, parity, positions, labels, chain),
            tried(joint_min_entropy.block_min_entropies, parity, positions, labels, chain),
            tried(joint_min_entropy.connected_blocks, positions, labels.shape[1]),
            tried(
                sampled_min_entropy.sampled_min_entropy,
                parity,
                positions,
                labels,
                chain,
                rng=rng(),
                draws=40,
                level=0.8,
            ),
            tried(words_of, parity, positions[0], labels, chain),
            tried(trellis_of, parity, positions, labels, chain),
        ]
    return found


def words_of(parity: Array, positions: Array, labels: Array, chain: Any) -> Any:
    words = block_words.possible_words(parity, positions, labels, chain)
    return (
        words,
        block_words.guess_odds(words, [0, 1, 2, 5, 100]),
        block_words.crude_bounds(words, len(parity)),
    )


def trellis_of(parity: Array, positions: Array, labels: Array, chain: Any) -> Any:
    cut = joint_trellis.sections(parity, positions, labels, chain)
    return [joint_trellis.best_words(section) for section in cut], joint_trellis.best_tables(cut)


def fitted() -> Any:
    found = []
    for labels, parity, positions in LAYOUTS[:5]:
        m = -(-(int(positions.max()) + 1) // labels.shape[1])
        for people, each in ((1, 3), (2, 2), (6, 3), (12, 1)):
            symbols, subject = symbols_of(people, each, m, len(labels))
            told: dict[str, Any] = {
                "labels": labels,
                "parity": parity,
                "positions": positions,
                "limit": 5.0,
            }
            found += [
                tried(given_helper.estimated_min_entropy, symbols, subject, level=0.9, **told),
                tried(given_helper.min_entropy_understated, symbols, subject, **told),
                tried(given_helper.min_entropy_by_person, symbols, subject, **told),
                tried(
                    fitted_markov.markov_min_entropy,
                    symbols,
                    subject,
                    rng=rng(),
                    draws=20,
                    level=0.9,
                    **told,
                ),
                tried(fitted_markov.most_predictable, symbols, subject, alphabet=len(labels)),
                tried(record.independent_record, symbols, subject, alphabet=len(labels), level=0.9),
                tried(record.chain_record, symbols, subject, alphabet=len(labels), level=0.9),
                tried(record.independent_record, symbols, subject, alphabet=2),
            ]
    return found


def slots() -> Any:
    return [
        tried(given_helper.average_min_entropy, np.array(parity, np.uint8), [np.array(s) for s in of])
        for parity, of in (
            ([[1, 1, 0], [1, 0, 1]], [[0.5, 0.5]] * 3),
            ([[1, 1, 0], [1, 0, 1]], [[0.9, 0.1], [0.4, 0.3, 0.2, 0.1]]),
            ([[1, 1]], [[0.9, 0.1]]),
            ([[1, 1]], [[0.9, 0.2], [0.5, 0.5]]),
            ([[1, 1]], [[1.1, -0.1], [0.5, 0.5]]),
            ([[1] * 700], [[0.3, 0.7]] * 700),
        )
    ]


def known_source() -> Any:
    shares = [np.array(s) for s in ([0.5, 0.5], [0.2, 0.8], [0.0, 1.0])]
    return [tried(joint_min_entropy.known_source_min_entropy, np.array([1.0, 4.0]), s) for s in shares]


def channels() -> Any:
    found: list[Any] = []
    for seed in (1, 2, 3):
        joint = rng(seed).dirichlet(np.full(12, 0.5)).reshape(2, 2, 3)
        found += [
            keyrate.key_rate(joint),
            tried(keyrate.key_rate, joint * 1.1),
            keyrate.informations(joint[None] * 50),
        ]
    found += [tried(keyrate.key_rate, np.full((2, 2), 0.25))]
    found += [
        tried(keyrate.public_discussion_rate, a, b)
        for a in (0.0, 0.1, 0.5, 0.6)
        for b in (0.0, 0.2, 0.5, -0.1)
    ]
    return found


def rates_of_keys() -> Any:
    found = []
    for people, each, m in ((1, 4, 5), (2, 1, 40), (3, 5, 6), (8, 4, 12)):
        a, subject = symbols_of(people, each, m, 3)
        noise = rng(people).random(a.shape)
        b, e = np.where(noise < 0.2, (a + 1) % 3, a), np.where(noise > 0.5, 0, a % 2)
        surprise = rng(people).uniform(0.5, 1.5, len(a))
        for level in (0.95, 0.6):
            found += [
                tried(
                    keyrate_symbols.estimated_key_rate, a, b, e, subject, alphabet=3, views=2, level=level
                ),
                tried(
                    keyrate_symbols.estimated_key_rate,
                    a,
                    b,
                    e,
                    subject,
                    alphabet=3,
                    views=2,
                    attempt=np.arange(len(a)) // 2,
                ),
                tried(
                    keyrate_beliefs.believed_key_rate,
                    a,
                    b,
                    subject,
                    surprise_a=surprise,
                    surprise_b=None,
                    alphabet=3,
                    level=level,
                ),
                tried(
                    keyrate_beliefs.believed_key_rate,
                    a,
                    b,
                    subject,
                    surprise_a=surprise,
                    surprise_b=surprise[::-1],
                    alphabet=3,
                ),
            ]
        found.append(
            tried(keyrate_symbols.estimated_key_rate, a, b, e, subject, alphabet=3, views=2, level=1.0)
        )
    return found


def books() -> Any:
    bits = [estimate(40.0, 30.0, 50.0), estimate(60.0, 20.0, 70.0), None, estimate(10.0, 9.0, float("nan"))]
    odds = [estimate(*ends, "probability") for ends in ((0.2, 0.1, 0.3), (0.0, 0.0, 0.1), (1.0, 0.9, 1.0))]
    seconds, never = estimate(9.0, 8.0, 11.0, "s"), estimate(0.0, 0.0, 0.2, "probability")
    usual = rate.usual_bits(
        symbols=20, alphabet=4, witness_bits=40, used_bits=7, code_length=7, parities=3, blocks=5
    )
    found: list[Any] = [
        ledger.ledger([ledger.Stage(name=f"stage {k}", bits=b) for k, b in enumerate(order)])
        for order in itertools.permutations(bits)
    ]
    found += [ledger.after_view(o) for o in odds]
    found += [ledger.per_second(b, o, seconds) for b in bits if b for o in [*odds, never]]
    found += [usual, rate.rates(usual, seconds)]
    found += [rate.net_rate(b, o, seconds) for b in bits if b for o in [*odds, never]]
    found += [
        tried(rate.time_to_strength, estimate(*ends, "bit/s", side))
        for ends in ((2.0, 1.0, 4.0), (0.0, 0.0, 1.0), (1.0, 0.0, 2.0))
        for side in ("estimate", "defender-at-most", "defender-at-least")
    ]
    for form in [*extraction_length.FORMS, "other"]:
        for epsilon in (0.0, 2.0**-64, 0.5, 1.0):
            found += [
                tried(extraction_length.extractable_bits, h, epsilon=epsilon, form=form)
                for h in (-1.0, 0.0, 128.0, 200.5)
            ]
            found += [
                tried(extraction_length.extractable, b, epsilon=epsilon, form=form) for b in bits if b
            ]
    found += [
        tried(extraction_length.left_by_sketch, h, parities=p)
        for h in (-1.0, 5.0, 40.0)
        for p in (-1, 0, 12)
    ]
    found += [
        tried(record.uniform_record, m, k, subjects=2, attempts=3) for m in (0, 1, 9) for k in (1, 2, 6)
    ]
    found += [
        given_helper.chain_bound(b, symbols=3, parities=p, limit=99.0)
        for b in bits
        if b
        for p in (0, 12, 200)
    ]
    return found


def costs_of(seed: int, rows: int, sizes: list[int], holes: float = 0.0) -> tuple[list[Array], Array]:
    draw = rng(seed)
    costs = []
    for size in sizes:
        cost = -on_grid(np.log(draw.dirichlet(np.full(size, 0.7), rows)))
        cost[draw.random(cost.shape) < holes] = np.inf
        costs.append(cost)
    return costs, np.stack([draw.integers(0, size, rows) for size in sizes], axis=1)


def ranks() -> Any:
    found = []
    for seed, sizes in enumerate(
        [[5], [3, 4], [2, 3, 5], [300, 300, 300], [40] * 8, [2] * 24, [2] * 140, [256] * 16]
    ):
        for holes in (0.0, 0.15):
            costs, true = costs_of(seed, 6, sizes, holes)
            likeliest = np.stack([c.argmin(axis=1) for c in costs], axis=1)
            for which in (true, likeliest):
                got = product_ranks(costs, which)
                found += [got, got.log2_rank(12), concatenate([got, got])]
                found += [
                    got.success(n, offline=offline) for n in (1, 2, 2**20) for offline in (False, True)
                ]
            found += [merge_blocks(costs, true), product_ranks(costs, true, bins=64)]
        even = [np.zeros((2, size)) for size in sizes]
        found.append(product_ranks(even, np.zeros((2, len(sizes)), int)))
    return [*found, on_grid(np.array([0.0, -0.3, -1e9, -np.inf]))]


FIGURES: dict[str, Callable[[], Any]] = {
    "joint-min-entropy": joints,
    "known-source": known_source,
    "fitted-sources": fitted,
    "average-min-entropy": slots,
    "chains": lambda: [chains(k, m) for k, m in ((2, 1), (2, 4), (5, 3))],
    "channels": channels,
    "key-rates": rates_of_keys,
    "ledgers": books,
    "ranks": ranks,
}
