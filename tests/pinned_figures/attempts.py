"""More than one attempt: tries until a key, chances over sessions, joint strength, linked helper data."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.estimators import accumulation, linkage, retries, sessions
from pinned_figures.people import CROWDS, estimate
from pinned_figures.plain import tried

NAN = float("nan")


def even(seed: int, people: int, each: int, odds: float) -> tuple[Array, Array]:
    """As `crowd`, everybody with as many attempts."""
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(people), each)
    own = np.clip(odds + 0.3 * rng.normal(size=people), 0, 1)
    return rng.random(len(subject)) < own[subject], subject


def all_retries() -> Any:
    found = []
    for seed, (people, each, odds) in enumerate(
        [(1, 5, 0.5), (2, 4, 0.5), (6, 6, 0.3), (6, 6, -9), (20, 5, 0.7), (5, 5, 9)]
    ):
        agreed, subject = even(seed, people, each, odds)
        seconds = np.random.default_rng(seed).uniform(1, 9, len(subject))
        for level in (0.95, 0.7):
            for tries in (0, 1, 2, each, each + 1, each + 2):
                found += [
                    tried(retries.agreement_within, agreed, subject, tries=tries, level=level),
                    tried(retries.mean_tries, agreed, subject, tries=tries, level=level),
                    tried(retries.time_until_key, agreed, seconds, subject, tries=tries, level=level),
                ]
            found += [
                tried(retries.tries_for_share, agreed, subject, share=share, level=level)
                for share in (0.0, 0.2, 0.5, 0.9, 1.0)
            ]
    return found


def known_retries() -> Any:
    return [
        [
            tried(retries.expected_tries, np.array(agreement), np.array(weight)),
            *(
                tried(retries.tries_quantile, np.array(agreement), np.array(weight), share=s)
                for s in (0, 0.3, 0.5, 0.95, 1)
            ),
        ]
        for agreement, weight in (
            ([0.5], [1.0]),
            ([0.2, 0.9], [0.5, 0.5]),
            ([0.0, 1.0], [0.3, 0.7]),
            ([1.0, 1.0], [0.3, 0.7]),
            ([0.0, 0.4], [0.0, 1.0]),
            ([0.001], [1.0]),
            ([0.2, 0.9], [0.5, 0.6]),
            ([0.2], [0.5, 0.5]),
            ([1.2], [1.0]),
        )
    ]


def all_sessions() -> Any:
    found = []
    for hits, subject in CROWDS:
        attacker = np.where(np.arange(len(subject)) % 4 == 0, -1, np.arange(len(subject)) % 5)
        for n in (0, 1, 2, 7):
            found.append(tried(sessions.any_success, hits * 0.6, subject, sessions=max(n, 1)))
            for one in (estimate(0.2, 0.1, 0.4, "probability"), estimate(1.0, 0.9, 1.0, "probability")):
                found += [
                    tried(sessions.odds_over_sessions, hits * 0.6, subject, odds=one, sessions=n),
                    tried(
                        sessions.odds_over_sessions,
                        hits * 1.0,
                        subject,
                        odds=one,
                        sessions=n,
                        attacker=attacker,
                        level=0.6,
                    ),
                ]
    return found


def compared(seed: int, people: int, each: int, mated: float) -> tuple[Array, Array, Array]:
    """Scores of every first with every second session, whole numbers so that some tie."""
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(people), each)
    first, second = (x.ravel() for x in np.meshgrid(who, who))
    score = np.round(rng.normal(size=len(first)) * 2 + mated * (first == second))
    return score, first, second


def linked() -> Any:
    found: list[Any] = [
        tried(linkage.local_linkability, np.array(r), prior_ratio=w)
        for r in ([0.0, 0.5, 1.0, 2.0, np.inf], [-1.0], [NAN])
        for w in (0.0, 0.3, 1.0, 4.0)
    ]
    shares = ([0.5, 0.5], [0.9, 0.1], [1.0, 0.0], [0.0, 1.0], [0.5, 0.6], [1.0])
    found += [
        tried(linkage.system_linkability, np.array(a), np.array(b), prior_ratio=w)
        for a in shares
        for b in shares
        for w in (0.5, 1.0)
    ]
    for seed, (people, each, mated) in enumerate(
        [(2, 2, 0), (3, 1, 1), (8, 2, 0), (8, 2, 3), (12, 1, 30), (25, 1, 1)]
    ):
        pairs = compared(seed, people, each, mated)
        found += [tried(linkage.estimated_linkability, *pairs, level=p) for p in (0.95, 0.6)]
        found.append(tried(linkage.linkage_p_value, *pairs, rng=np.random.default_rng(1), repetitions=99))
    return found


def accumulated() -> Any:
    rng = np.random.default_rng(2)
    bits = [
        np.array(b)
        for b in ([3.0], [0.0, 9.0], [2.0, 2.0, 2.0], [-1.0], [np.inf, 1.0], [0.5, 1.5, 4.0, 9.0, 30.0])
    ]
    found: list[Any] = [tried(accumulation.strength_of_segments, b) for b in [*bits, np.zeros(0)]]
    for attempts in (0, 1, 2, 5):
        found += [
            tried(accumulation.joint_strength, b, np.full(len(b), 1 / len(b)), attempts=attempts)
            for b in bits
        ]
        found += [
            tried(accumulation.joint_strength, bits[1], np.array(w), attempts=attempts)
            for w in ([0.0, 1.0], [0.2, 0.9])
        ]
        found += [
            tried(accumulation.estimated_joint_strength, b, attempts=attempts, level=level)
            for b in [*bits, rng.exponential(5, 12), np.full(9, 4.0)]
            for level in (0.95, 0.7)
        ]
        found += [
            tried(
                accumulation.mixture_min_entropy,
                np.array(p),
                np.array(w),
                attempts=attempts,
                person_known=known,
            )
            for p, w in (
                ([[0.5, 0.5]], [1.0]),
                ([[0.9, 0.1], [0.2, 0.8]], [0.5, 0.5]),
                ([[0.6, 0.3, 0.1], [0.1, 0.1, 0.8]], [0.3, 0.7]),
                ([[0.6, 0.6]], [1.0]),
            )
            for known in (True, False)
        ]
        found += [
            tried(accumulation.chain_min_entropy, np.array(j), attempts=attempts)
            for j in (
                [[0.25, 0.25], [0.25, 0.25]],
                [[0.5, 0.0], [0.0, 0.5]],
                [[0.4, 0.2], [0.1, 0.3]],
                [[0.5, 0.6], [0, 0]],
            )
        ]
    return [*found, accumulation.next_min_entropy(np.array([[0.4, 0.2], [0.1, 0.3]]))]


FIGURES: dict[str, Callable[[], Any]] = {
    "retries": all_retries,
    "retries-known": known_retries,
    "sessions": all_sessions,
    "sessions-most": lambda: [
        tried(sessions.most_over_sessions, o, n) for o in (-0.1, 0.0, 0.3, 1.0) for n in (0, 1, 5)
    ],
    "linkage": linked,
    "accumulation": accumulated,
}
