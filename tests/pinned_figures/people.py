"""Figures over people: rates, means, ends of means, paired differences, corrections for many tests."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators import (
    bounded_mean,
    extremes,
    guesses,
    jackknife,
    means,
    multiple,
    paired,
    prevalence,
    proportion,
    worst,
)
from pinned_figures.plain import tried


def estimate(value: float, low: float, high: float, unit: str = "bit", side: str = "estimate") -> Estimate:
    return Estimate(
        value=value, low=low, high=high, level=0.95, unit=unit, side=side, evidence="counted",
        subjects=7, attempts=40, method="most-common-value",
    )  # fmt: skip


def crowd(seed: int, people: int, each: int = 6, odds: float = 0.5) -> tuple[Array, Array]:
    """Hits that cluster by person, and whose they are; people have one to `each` attempts."""
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(people) * 3, rng.integers(1, each + 1, people))
    own = np.clip(odds + 0.35 * rng.normal(size=people), 0, 1)
    return rng.random(len(subject)) < own[subject // 3], subject


CROWDS = [
    crowd(seed, people, each, odds)
    for seed, (people, each, odds) in enumerate(
        [
            (0, 1, 0.5),
            (1, 1, 0.5),
            (1, 9, 0.5),
            (2, 6, 0.0),
            (2, 6, 1.0),
            (3, 1, 0.5),
            (12, 6, 0.4),
            (12, 6, -9),
            (40, 4, 0.05),
        ]
    )
]


def rates() -> Any:
    found = []
    for hits, subject in CROWDS:
        chance = hits * 0.8 + 0.1
        attacker = np.where(np.arange(len(subject)) % 4 == 0, -1, np.arange(len(subject)) % 5)
        for level, floor in itertools.product((0.9, 0.5), (0.0, 0.05)):
            rate = partial(
                proportion.clustered_rate, subject=subject, side="estimate", level=level, icc_floor=floor
            )
            found += [tried(rate, hits, hits), tried(rate, chance - 0.1, chance)]
            found.append(tried(rate, hits, hits, attacker=attacker))
    return found


def subject_rates() -> Any:
    return [
        [
            tried(proportion.subject_rate, hits, subject, side="estimate", level=level),
            tried(
                proportion.subject_rate, hits * 0.5, subject, most=hits * 0.7, side="estimate", level=level
            ),
            tried(
                prevalence.weak_prevalence,
                hits,
                subject,
                odds=0.2,
                side="estimate",
                method="lag",
                level=level,
            ),
            tried(
                prevalence.weak_prevalence,
                hits,
                subject,
                odds=1.0,
                side="estimate",
                method="lag",
                level=level,
            ),
            tried(worst.worst_share, hits, subject, subjects=4, method="lag", level=level),
            tried(
                worst.worst_share,
                hits * 0.5,
                subject,
                subjects=4,
                method="lag",
                most=hits * 0.7,
                level=level,
            ),
        ]
        for hits, subject in CROWDS
        for level in (0.9, 0.6)
    ]


def meant() -> Any:
    named = {"unit": "bit", "side": "estimate", "method": "lag"}
    found = []
    for seed, (hits, subject) in enumerate(CROWDS):
        values = hits + np.random.default_rng(seed).normal(size=len(hits))
        top = np.where(hits & (values > 1), np.inf, values + 0.5)
        for level in (0.95, 0.6):
            found += [
                tried(means.subject_mean, values, subject, level=level, evidence="modelled", **named),
                tried(means.subject_median, values, top, subject, level=level, **named),
            ]
        found.append(tried(means.subject_means, values, subject))
    return found


def pairs_of_versions() -> list[tuple[Array, Array]]:
    rng = np.random.default_rng(5)
    found = []
    for n in (1, 2, 3, 5, 12, 60):
        old = rng.random(n)
        found += [
            (old, old),
            (old, np.clip(old + 0.1, 0, 1)),
            (old, np.clip(old + rng.normal(0.05, 0.1, n), 0, 1)),
        ]
        found += [
            (np.zeros(n), np.zeros(n)),
            (np.zeros(n), (np.arange(n) < 2) * 1.0),
            (np.ones(n), np.ones(n)),
        ]
        found += [(old - 0.5, old[::-1] - 0.5), (old * 0, old), (old, old * 0)]
    return found


def harms() -> Any:
    return [
        [
            tried(paired.harm, old, new, scale=scale, level=level, unseen=unseen)
            for level in (0.95, 0.8)
            for unseen in (None, 0.03)
        ]
        for scale in ("difference", "ratio", "odds-ratio", "other")
        for old, new in pairs_of_versions()
    ]


def effects() -> Any:
    return [
        tried(paired.effect, old, new, sought, scale=scale)
        for scale in ("difference", "ratio", "odds-ratio")
        for sought in (0.1, 1.5)
        for old, new in pairs_of_versions()
    ]


def ends() -> Any:
    rng = np.random.default_rng(3)
    found: list[Any] = []
    for n in (1, 2, 5, 20):
        columns = rng.normal(size=(n, 3))
        found += [
            tried(extremes.mean_ends, columns[:, 0], below=b, above=a)
            for b, a in ((0.025, 0.025), (0.1, 0.01))
        ]
        found += [
            tried(f, columns, level=p)
            for f in (extremes.greatest_mean, extremes.least_mean)
            for p in (0.9, 0.5)
        ]
        found += [tried(extremes.at_least_0, extremes.mean_ends(columns[:, 0], below=0.1, above=0.1))]
    return found


def bounded() -> Any:
    rng = np.random.default_rng(4)
    rows: list[Any] = [
        [],
        [0.0],
        [1.0],
        [1.5],
        [0.5] * 30,
        rng.random(40),
        rng.random(200) ** 4,
        (rng.random(300) < 0.02) * 1.0,
    ]
    return [
        tried(bounded_mean.bounded_mean, np.array(r), level=level) for r in rows for level in (0.95, 0.6)
    ]


def log_mean(values: Array, rows: Array) -> float:
    return float(np.log(np.abs(values[rows].mean())))


def left_out() -> Any:
    rng = np.random.default_rng(6)
    found = []
    for people in (1, 2, 5, 10, 11, 23):
        subject = np.repeat(np.arange(people), 3)
        values = rng.normal(3, 1, len(subject))
        statistic = partial(log_mean, values)
        found += [tried(jackknife.over_people, statistic, subject, level=p) for p in (0.95, 0.6)]
        found.append(tried(jackknife.understatement, statistic, subject))
    return found


def budgets() -> Any:
    """Guesses until half succeed, of attempts whose chance grows with the budget."""
    subject = np.repeat(np.arange(10), 4)
    places = 2.0 ** np.random.default_rng(7).uniform(0, 12, len(subject))

    def odds(budget: int) -> tuple[Array, Array]:
        return np.minimum(budget / (2 * places), 1), np.minimum(budget / places, 1)

    def rate(low: Array, high: Array) -> Estimate:
        return proportion.clustered_rate(low, high, subject, side="estimate")

    return [
        tried(guesses.guesses_for_odds, odds, rate, target=t, key_bits=k, method="lag")
        for t in (0.01, 0.5, 0.99)
        for k in (2, 9, 16, 2000)
    ]


def corrected() -> Any:
    rows = ([], [0.01], [0.01, 0.04, 0.03], [0.5, 0.5], [0.0, 1.0, 0.2], [1.2], [0.001, 0.2, 0.2, 0.9])
    found = [
        tried(multiple.holm, p, weights=w)
        for p in rows
        for w in (None, np.arange(1, len(p) + 1), [0.0] * len(p), [1.0])
    ]
    helps = ([], [0.0], [3.0, 1.0], [3.0, np.inf, 0.0], [-1.0], [2.5] * 5)
    return found + [tried(multiple.where_it_helps, e, level=level) for e in helps for level in (0.05, 0.3)]


FIGURES: dict[str, Callable[[], Any]] = {
    "clopper-pearson": lambda: [
        tried(proportion.clopper_pearson, k, n, level=level)
        for n in (0, 1, 10, 33.3)
        for k in (-1, 0, 1, n / 2, n)
        for level in (0.0, 0.95, 0.5, 1.0)
    ],
    "intraclass": lambda: [
        tried(proportion.intraclass_upper, hits * 1.0, subject, level=level)
        for hits, subject in CROWDS[1:]
        for level in (0.9, 0.5)
    ],
    "clustered-rate": rates,
    "rates-by-person": subject_rates,
    "means-and-medians": meant,
    "mean-difference": lambda: [
        tried(paired.mean_difference, old, new, level=p)
        for old, new in pairs_of_versions()
        for p in (0.95, 0.5)
    ],
    "harm": harms,
    "effect": effects,
    "extremes": ends,
    "bounded-mean": bounded,
    "jackknife": left_out,
    "guesses": budgets,
    "multiple": corrected,
}
