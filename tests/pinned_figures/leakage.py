"""What views tell of symbols and keys: counted, learned, and by order."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.estimators import dependence
from harness.estimators.leakage import (
    chain,
    channel,
    detection,
    discrete,
    gains,
    learned,
    learners,
    logistic,
    planted,
    region,
    shuffles,
    tables,
    within_subject,
)
from pinned_figures.plain import tried

TABLES = [
    np.array(t)
    for t in (
        [[5, 1], [2, 6]],
        [[40, 3], [4, 38]],
        [[300, 280], [310, 305]],
        [[9, 0], [0, 9]],
        [[4, 5, 6], [7, 1, 0]],
        [[3, 0], [1, 8], [2, 2]],
        [[0, 0], [3, 4]],
        [[20, 5, 1, 0], [4, 18, 6, 1], [0, 3, 22, 7]],
    )
]
LINEAR = (learners.linear,)


def priors(kinds: int) -> list[Any]:
    tilted = np.arange(1, kinds + 1) / (kinds * (kinds + 1) / 2)
    return [None, [1 / kinds] * kinds, tilted.tolist(), [1.0] + [0.0] * (kinds - 1), [0.9] * kinds]


def counted(function: Callable[..., Any], **named: Any) -> Any:
    return [tried(function, t, prior=prior, **named) for t in TABLES for prior in priors(len(t))]


def views(seed: int, people: int, each: int, told: float) -> tuple[Array, Array, Array]:
    """Features, two of them noise, of three bits of which the first shows."""
    rng = np.random.default_rng(seed)
    bits = rng.integers(0, 2, (people * each, 3))
    view = rng.normal(size=(people * each, 3))
    view[:, 0] += told * bits[:, 0]
    return view, bits, np.repeat(np.arange(people), each)


def ragged(seed: int, people: int) -> Array:
    return np.repeat(np.arange(people), np.random.default_rng(seed).integers(1, 5, people))


def told_and_true(seed: int, people: int, share: float) -> tuple[Array, Array, Array]:
    rng = np.random.default_rng(seed)
    subject = ragged(seed, people)
    true = rng.integers(0, 3, (len(subject), 4))
    told = np.where(rng.random(true.shape) < share, true, rng.integers(0, 3, true.shape))
    return told, true, subject


def ignorant(_view: Array, bits: Array, asked: Array) -> Array:
    """A learner that says nothing."""
    return np.full((len(asked), bits.shape[1]), 0.5)


def generator() -> np.random.Generator:
    return np.random.default_rng(11)


FIGURES: dict[str, Callable[[], Any]] = {
    "plug-in": lambda: counted(discrete.plug_in_information),
    "information-limit": lambda: [counted(discrete.information_limit, level=p) for p in (0.95, 0.7)],
    "min-entropy-limits": lambda: [
        counted(discrete.min_entropy_leakage_limits, level=p) for p in (0.95, 0.7)
    ],
    "symmetric-limit": lambda: [
        tried(discrete.symmetric_information_limit, t, claim=claim, level=0.9)
        for t in [*TABLES, np.array([[90, 10], [60, 40]]), np.array([[8, 8], [8, 8]])]
        for claim in ("", "told")
    ],
    "joint-counts": lambda: [
        tried(discrete.joint_counts, np.array(s), np.array(v), secrets=2, views=3)
        for s, v in (
            ([0, 1, 1], [2, 0, 0]),
            ([0, 2], [0, 0]),
            ([0], [3]),
            ([0], [0, 1]),
            ([-1], [0]),
            ([0.5], [0]),
        )
    ],
    "channel": lambda: [
        [
            tried(channel.channel_information, t / t.sum(axis=1, keepdims=True), p),
            tried(channel.min_entropy_leakage, t / t.sum(axis=1, keepdims=True), p),
        ]
        for t in TABLES[:6]
        for p in (np.full(len(t), 1 / len(t)), np.arange(len(t)) / np.arange(len(t)).sum(), np.ones(len(t)))
    ],
    "channel-closed": lambda: [
        [channel.symmetric_information(p) for p in (0.0, 0.2, 0.5, 0.9, 1.0)],
        [channel.gaussian_shift_information(s) for s in (0.0, 0.1, 1.0, 3.0, 12.0)],
    ],
    "detection": lambda: [
        tried(detection.detectable_information, n, power=power, level=level)
        for n in (1, 4, 5, 20, 1000)
        for power, level in ((0.8, 0.05), (0.95, 0.01), (0.05, 0.05), (1.0, 0.05), (0.5, 0.0))
    ],
    "region": lambda: [
        [low, high, *(region.corners(a, b) for a, b in zip(low, high, strict=True))]
        for t in (*TABLES[:6], TABLES[7])
        for level in (0.9, 0.99)
        for low, high in [region.region(t, level)]
    ],
    "most-information": lambda: [
        region.most_information([region.corners(a, b) for a, b in zip(low, high, strict=True)], np.array(w))
        for t, w in ((TABLES[0], [0.5, 0.5]), (TABLES[1], [0.2, 0.8]), (TABLES[4], [0.4, 0.6]))
        for low, high in [region.region(t, 0.95)]
    ],
    "shannon": lambda: [region.shannon(np.array(p)) for p in ([1.0, 0.0], [[0.5, 0.5], [0.2, 0.8]])],
    "gains": lambda: [
        tried(gains.symbol_information, values, subject, level=level)
        for seed, people in ((1, 0), (1, 1), (2, 2), (3, 9))
        for subject in [ragged(seed, people)]
        for values in [np.random.default_rng(seed).normal(0.1, 0.2, len(subject))]
        for level in (0.95, 0.6)
    ],
    "key-information": lambda: [
        tried(gains.key_information, values, subject, entropy=8.0)
        for subject in [ragged(5, 8)]
        for values in (
            np.random.default_rng(1).normal(6, 1, len(subject)),
            np.where(np.arange(len(subject)) == 3, np.inf, 5.0),
            np.full(len(subject), np.inf),
        )
    ],
    "logistic": lambda: [
        tried(logistic.fit_logistic, v, b, penalty=penalty)
        for v, b, _ in (views(1, 5, 8, 1.0), views(2, 3, 4, 30.0))
        for penalty in (0.0, 0.1, 1.0, 10.0)
    ],
    "logistic-edges": lambda: [
        tried(logistic.fit_logistic, np.array(v, float), np.array(b))
        for v, b in (
            ([[1], [1], [1]], [[0], [1], [1]]),
            ([[0], [0], [1], [1]], [[0], [0], [1], [1]]),
            ([[0, 1], [3, 1], [5, 1]], [[1], [1], [1]]),
            ([[np.inf], [1]], [[0], [1]]),
            ([[0], [1]], [[0], [2]]),
            ([[0], [1]], [[0]]),
        )
    ],
    "linear": lambda: [
        learners.linear(v[8:], b[8:], v[:8], penalty=p)
        for v, b, _ in [views(3, 6, 8, 1.0)]
        for p in (0.5, 2.0)
    ],
    "folds": lambda: [
        tried(learners.folds_of, ragged(s, people), 3) for s, people in ((1, 1), (2, 2), (3, 9))
    ],
    "surprise": lambda: [
        learners.surprise_of(np.array([[0.2, 0.9], [0.5, 0.0]]), np.array([[0, 1], [1, 1]]))
    ],
    "chosen": lambda: [
        learners.chosen(v, b, who, (learners.linear, ignorant))
        for v, b, who in (views(4, 6, 8, 2.0), views(5, 6, 8, 0.0))
    ],
    "held-out": lambda: [
        tried(learned.held_out_gain, *views(s, people, 6, told), entropy=h, learners=LINEAR)
        for s, people, told in ((1, 1, 1.0), (2, 2, 1.0), (3, 7, 0.0), (4, 12, 3.0))
        for h in (1.0, 0.8)
    ],
    "learned": lambda: [
        tried(learned.learned_information, *views(s, 7, 6, told), entropy=h, level=level, learners=LINEAR)
        for s, told in ((3, 0.0), (4, 3.0))
        for h, level in ((1.0, 0.95), (0.8, 0.7))
    ],
    "chain": lambda: [
        [
            tried(chain.chain_surprise, *views(s, 6, 6, told), learners=LINEAR),
            tried(chain.chain_information, *views(s, 6, 6, told), entropy=h, level=0.9, learners=LINEAR),
        ]
        for s, told, h in ((3, 0.0, 3.0), (4, 3.0, 3.0), (5, 1.0, 2.5))
    ],
    "planted": lambda: [
        tried(planted.planted_detection_limit, v, who, rng=generator(), references=references, level=level)
        for people, each, references, level in (
            (1, 9, 100, 0.05),
            (6, 10, 100, 0.05),
            (5, 8, 120, 0.2),
            (4, 6, 99, 0.05),
        )
        for v, _, who in [views(people, people, each, 0.0)]
    ],
    "several-attempts": lambda: [
        tried(shuffles.several_attempts, np.array(s)) for s in ([1, 2, 1, 2, 3], [1], [1, 2], [4, 4])
    ],
    "shuffles": lambda: [shuffles.shuffles(np.sort(ragged(s, 6)), 5, generator()) for s in (1, 2)],
    "agreement": lambda: [
        shuffles.agreement(told, true, who, shuffles.shuffles(who, 9, generator()))
        for s in (1, 2)
        for told, true, who in [told_and_true(s, 8, 0.4)]
    ],
    "weighed": lambda: [
        shuffles.weighed(told.astype(float), true % 2, shuffles.shuffles(who, 9, generator()))
        for told, true, who in [told_and_true(3, 8, 0.4)]
    ],
    "tables": lambda: [
        tried(tables.permutation_p_value, rows, rng=generator(), repetitions=99)
        for rows in (
            [np.eye(3), np.eye(2)],
            [np.ones((1, 1))],
            [np.random.default_rng(k).normal(size=(k, k)) for k in (1, 2, 3, 5)],
            [np.zeros((4, 4))],
        )
    ],
    "min-p": lambda: [
        tried(within_subject.min_p_value, *told_and_true(s, people, share), rng=generator(), repetitions=99)
        for s, people, share in ((1, 1, 0.5), (2, 8, 0.0), (3, 8, 0.5), (4, 12, 0.9), (5, 30, 0.2))
    ],
    "score-p": lambda: [
        tried(
            within_subject.score_p_value,
            told + np.random.default_rng(s).normal(size=told.shape),
            true % 2,
            who,
            rng=generator(),
            repetitions=99,
        )
        for s, people, share in ((2, 8, 0.0), (3, 8, 0.5), (4, 12, 0.9))
        for told, true, who in [told_and_true(s, people, share)]
    ],
    "min-p-constant": lambda: [
        tried(function, np.zeros((6, 2)), np.tile([[0, 1]], (6, 1)), np.arange(6) // 2, rng=generator())
        for function in (within_subject.min_p_value, within_subject.score_p_value)
    ],
    "neighbours": lambda: [
        tried(dependence.neighbours_p_value, symbols, alphabet=3, rng=generator(), repetitions=n)
        for n in (9, 99)
        for symbols in (
            np.random.default_rng(1).integers(0, 3, (6, 20)),
            np.tile([0, 1, 2], (5, 4)),
            np.zeros((4, 5), int),
            np.random.default_rng(2).integers(0, 3, (6, 1)),
        )
    ],
}
