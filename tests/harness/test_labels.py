"""What every estimate says of itself: unit, which way it bounds, what it rests on, method, people."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest

from harness.contracts import Array, Estimate
from harness.estimators.accumulation import estimated_joint_strength
from harness.estimators.entropy import collision, compression, counting, lag, lz78y, markov, tuples, window
from harness.estimators.entropy.fitted_markov import markov_min_entropy
from harness.estimators.entropy.given_helper import chain_bound, estimated_min_entropy
from harness.estimators.entropy.most_common import most_common_value, worst_subject
from harness.estimators.entropy.sampled_min_entropy import sampled_min_entropy
from harness.estimators.entropy.symbol_chains import independent_symbols
from harness.estimators.guesses import guesses_for_odds
from harness.estimators.keyrate_beliefs import believed_key_rate
from harness.estimators.keyrate_symbols import estimated_key_rate
from harness.estimators.leakage.discrete import (
    information_limit,
    min_entropy_leakage_limits,
    symmetric_information_limit,
)
from harness.estimators.leakage.gains import key_information, symbol_information
from harness.estimators.leakage.planted import planted_detection_limit
from harness.estimators.leakage.tables import permutation_p_value
from harness.estimators.leakage.within_subject import min_p_value, score_p_value
from harness.estimators.linkage import estimated_linkability, linkage_p_value
from harness.estimators.means import subject_mean, subject_median
from harness.estimators.prevalence import weak_prevalence
from harness.estimators.proportion import clustered_rate, subject_rate
from harness.estimators.record import chain_record, independent_record, uniform_record
from harness.estimators.retries import agreement_within, mean_tries, tries_for_share
from harness.estimators.sessions import odds_over_sessions
from harness.estimators.worst import worst_share

WHO = np.repeat(np.arange(10), 6)  # ten people, six attempts each
HITS = np.arange(60) % 3 == 0
RATE = HITS.astype(float)
SYMBOLS = np.random.default_rng(1).integers(0, 2, (60, 7)).astype(np.uint8)
BITS = np.random.default_rng(2).integers(0, 2, 7000)
BLOCK: dict[str, Any] = {
    "labels": np.array([[0], [1]], np.uint8), "parity": np.eye(3, 7, dtype=np.uint8),
    "positions": np.arange(7)[None],
}  # fmt: skip
PAIRS = (np.tile(np.eye(10), (1, 1)).ravel(), np.repeat(np.arange(10), 10), np.tile(np.arange(10), 10))


def rng() -> np.random.Generator:
    return np.random.default_rng(0)


def said(found: Estimate) -> tuple[Any, ...]:
    return (
        found.unit,
        found.side,
        found.evidence,
        found.method,
        found.level,
        found.subjects,
        found.attempts,
    )


PER_SYMBOL = ("bit/symbol", "defender-at-most", "counted")
STRENGTH = ("bit", "defender-at-most")
CHANCE = ("probability", "attacker-at-least", "counted")
P_VALUE = ("p-value", "estimate", "counted")
LEAK = ("bit", "attacker-at-most", "counted")
ODDS = clustered_rate(RATE, RATE, WHO, side="attacker-at-least")
FEW = most_common_value(BITS, attempts=3, subjects=2)
COUNTS = np.array([[30, 10], [12, 28]])

CASES: list[tuple[Callable[[], Estimate], tuple[Any, ...]]] = [
    (
        partial(estimated_joint_strength, SYMBOLS[:, 0].reshape(10, 6)[:, 0] + 3.0, attempts=4, level=0.9),
        (*STRENGTH, "modelled", "attempts-4", 0.9, 10, 4),
    ),
    *(
        (partial(method, BITS, attempts=3, subjects=2), (*PER_SYMBOL, name, 0.99, 2, 3))
        for method, name in (
            (collision.collision, "collision"),
            (compression.compression, "compression"),
            (markov.markov, "markov"),
            (tuples.t_tuple, "t-tuple"),
            (tuples.longest_repeated_substring, "longest-repeated-substring"),
            (counting.multi_markov, "multi-markov"),
            (lag.lag, "lag"),
            (lz78y.lz78y, "lz78y"),
            (window.multi_most_common_in_window, "multi-most-common-in-window"),
            (most_common_value, "most-common-value"),
        )
    ),
    (
        lambda: worst_subject(SYMBOLS, WHO)[0],
        (*PER_SYMBOL, "most-common-value-worst-subject", 0.99, 1, 6),
    ),
    (
        lambda: markov_min_entropy(SYMBOLS, WHO, limit=7.0, rng=rng(), draws=20, level=0.8, **BLOCK)[0],
        ("bit", "estimate", "modelled", "average-given-helper-markov", 0.8, 10, 60),
    ),
    (
        partial(estimated_min_entropy, SYMBOLS, WHO, limit=7.0, level=0.8, **BLOCK),
        ("bit", "estimate", "modelled", "average-given-helper-independent-symbols", 0.8, 10, 60),
    ),
    (
        partial(chain_bound, FEW, symbols=7, parities=3, limit=9.0),
        ("bit", "defender-at-least", "modelled", "average-given-helper-chain-bound", 0.99, 2, 3),
    ),
    (
        lambda: sampled_min_entropy(
            BLOCK["parity"], BLOCK["positions"], BLOCK["labels"],
            independent_symbols(np.full((7, 2), 0.5)), rng=rng(), draws=20, level=0.8,
        ),
        ("bit", "estimate", "exact", "average-given-helper-sampled", 0.8, 0, 0),
    ),
    (
        lambda: worst_share(HITS, WHO, subjects=10, method="worst", level=0.8).share,
        (*CHANCE, "worst", 0.8, 10, 60),
    ),
    (
        partial(uniform_record, 7, 2, subjects=3, attempts=5),
        (*STRENGTH, "exact", "uniform-record", 0.95, 3, 5),
    ),
    (
        partial(independent_record, SYMBOLS, WHO, alphabet=2, level=0.8),
        (*STRENGTH, "modelled", "independent-record", 0.8, 10, 60),
    ),
    (
        partial(chain_record, SYMBOLS, WHO, alphabet=2, level=0.8),
        (*STRENGTH, "modelled", "chain-record", 0.8, 10, 60),
    ),
    (
        partial(subject_mean, RATE, WHO, unit="s", side="estimate", method="mean", evidence="assumed",
            level=0.8),
        ("s", "estimate", "assumed", "mean", 0.8, 10, 60),
    ),
    (
        partial(subject_median, RATE, RATE, WHO, unit="log2", side="attacker-at-least", method="m",
            level=0.8),
        ("log2", "attacker-at-least", "counted", "m", 0.8, 10, 60),
    ),
    (
        partial(weak_prevalence, HITS, WHO, odds=0.5, side="attacker-at-least", method="weak", level=0.8),
        (*CHANCE, "weak", 0.8, 10, 60),
    ),
    (partial(lambda: ODDS), (*CHANCE, "design-effect", 0.9, 10, 60)),
    (
        partial(clustered_rate, RATE, RATE, WHO, side="estimate", level=0.8, attacker=np.arange(60) % 4),
        ("probability", "estimate", "counted", "design-effect-two-way", 0.8, 10, 60),
    ),
    (
        partial(subject_rate, HITS, WHO, side="attacker-at-least", level=0.8),
        (*CHANCE, "subject-unit", 0.8, 10, 60),
    ),
    (
        partial(agreement_within, HITS, WHO, tries=2, level=0.8),
        ("probability", "estimate", "counted", "tries-2", 0.8, 10, 60),
    ),
    (
        partial(mean_tries, HITS, WHO, tries=2, level=0.8),
        ("tries", "estimate", "counted", "tries-2", 0.8, 10, 60),
    ),
    (
        partial(tries_for_share, HITS, WHO, share=0.5, level=0.8),
        ("tries", "estimate", "counted", "share-0.5", 0.8, 10, 60),
    ),
    (
        partial(odds_over_sessions, RATE, WHO, odds=ODDS, sessions=3, level=0.9),
        (*CHANCE, "sessions-3", 0.9, 10, 60),
    ),
    (
        partial(symbol_information, RATE, WHO, level=0.8),
        ("bit/symbol", "attacker-at-least", "counted", "held-out-log-score", 0.8, 10, 60),
    ),
    (
        partial(key_information, 3 - RATE, WHO, entropy=3.0, level=0.8),
        ("bit", "attacker-at-least", "counted", "held-out-log-score", 0.8, 10, 60),
    ),
    (
        partial(permutation_p_value, [np.eye(6)] * 10, rng=rng(), repetitions=99),
        (*P_VALUE, "within-subject-permutation", 0.95, 10, 60),
    ),
    (
        partial(min_p_value, SYMBOLS, SYMBOLS[::-1], WHO, rng=rng(), repetitions=99),
        (*P_VALUE, "within-subject-min-p", 0.95, 10, 60),
    ),
    (
        partial(score_p_value, SYMBOLS * 1.0, SYMBOLS[::-1], WHO, rng=rng(), repetitions=99),
        (*P_VALUE, "within-subject-min-p", 0.95, 10, 60),
    ),
    (
        partial(linkage_p_value, *PAIRS, rng=rng(), repetitions=99),
        (*P_VALUE, "people-permutation", 0.95, 10, 10),
    ),
    (
        partial(estimated_linkability, *PAIRS, level=0.8),
        ("D_sys", "attacker-at-least", "counted", "held-out-isotonic", 0.8, 10, 10),
    ),
    (partial(information_limit, COUNTS, level=0.8), (*LEAK, "clopper-pearson-boxes", 0.8, 80, 80)),
    (
        partial(min_entropy_leakage_limits, COUNTS, level=0.8),
        ("bit", "estimate", "counted", "clopper-pearson-boxes", 0.8, 80, 80),
    ),
    (
        partial(symmetric_information_limit, COUNTS, claim="the channel is symmetric", level=0.8),
        (*LEAK, "symmetric-channel-claimed", 0.8, 80, 80),
    ),
    (
        partial(
            planted_detection_limit, np.random.default_rng(3).standard_normal((60, 1)), WHO, rng=rng(),
            references=100,
        ),
        ("bit", "attacker-at-most", "modelled", "planted-gaussian-shift", 0.95, 10, 60),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("call", "label"), CASES)
def test_an_estimate_says_what_it_is(call: Callable[[], Estimate], label: tuple[Any, ...]) -> None:
    assert said(call()) == label


def test_guesses_for_odds_rest_on_what_the_odds_rest_on() -> None:
    def odds(budget: int) -> tuple[Array, Array]:
        reached = np.clip(budget / (np.arange(60) + 1.0), 0, 1)
        return reached, reached

    rate = partial(clustered_rate, subject=WHO, side="attacker-at-least", level=0.8)
    found = guesses_for_odds(odds, lambda low, high: rate(low, high), target=0.5, key_bits=20, method="m")
    assert found is not None
    assert said(found) == ("log2", "attacker-at-least", "counted", "m", 0.8, 10, 60)


def test_key_rates_say_which_way_each_of_them_points() -> None:
    a = np.random.default_rng(4).integers(0, 2, (60, 40))
    b, e = a ^ (np.arange(40) % 9 == 0), a ^ (np.arange(40) % 3 == 0)
    found = estimated_key_rate(a, b, e, WHO, alphabet=2, views=2, level=0.8)
    shared = ("counted",)
    sides = {
        "i_ab": "estimate", "i_ae": "attacker-at-least", "i_be": "attacker-at-least",
        "i_ab_given_e": "estimate", "lower": "defender-at-most", "upper": "defender-at-most",
    }  # fmt: skip
    slugs = {"lower": "maurer-lower", "upper": "maurer-upper"}
    for name, side in sides.items():
        slug = slugs.get(name, name.replace("_", "-"))
        assert said(getattr(found, name)) == ("bit/symbol", side, *shared, slug, 0.8, 10, 60)
    assert found.left_out == 0
    surprise = np.full(60, 0.9)
    told = believed_key_rate(a, b, WHO, surprise_a=surprise, surprise_b=surprise, alphabet=2, level=0.8)
    for name in ("i_ab", "i_ae", "i_be", "lower"):
        slug = slugs.get(name, name.replace("_", "-"))
        assert said(getattr(told, name)) == ("bit/symbol", sides[name], *shared, slug, 0.8, 10, 60)
    alone = believed_key_rate(a, b, WHO, surprise_a=surprise, surprise_b=None, alphabet=2)
    assert alone.i_be is None
