"""From a judged attack to rows of the result table: what one adversary gets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from harness.collecting import Rows
from harness.contracts import Array, Estimate
from harness.estimators import (
    guesses,
    means,
    prevalence,
    proportion,
    sessions,
    worst,
)
from harness.exchange import Honest
from harness.information_measures import information_rows
from harness.keyrate_rows import keyrate_rows
from harness.results import PerSubject, Row
from harness.score import ORDERED_STATISTICS, Disclosure, Scores
from harness.validate import MAX_GUESSES

__all__ = ["BUDGETS", "OFFLINE_FROM", "attack_rows", "successes"]

BUDGETS = (1, 10, 100, 2**20, 2**40, 2**64)
WEAK = {0.1: "odds-from-10-percent", 0.5: "odds-from-50-percent"}
"""Odds at one guess from which on a person is weak."""
SESSIONS = (10, 100)
"""Lifetimes over which fresh keys are counted; claims may declare others."""
OFFLINE_FROM = 2**20
"""From here on a budget is spent off line, where trials made beforehand count."""


def attack_rows(
    scores: Scores,
    honest: Honest,
    disclosure: Disclosure,
    *,
    scheme: str,
    attack: str,
    key_bits: int,
    data: str,
    seed: int,
    note: str | None,
    budgets: Sequence[int] = BUDGETS,
) -> tuple[list[Row], list[PerSubject]]:
    """What one adversary gets: odds by budget, key rank, information."""
    table = Rows(scheme, attack, data)
    subject = honest.subject[scores.attempt]
    for budget, low, high in successes(scores, key_bits, budgets):
        estimate = proportion.clustered_rate(
            low, high, subject, side="attacker-at-least", attacker=scores.attacker
        )
        if scores.method == ORDERED_STATISTICS:  # the order in which keys are tried is a model's
            estimate = replace(estimate, evidence="modelled")
        most = proportion.subject_rate(low, subject, most=high, side="attacker-at-least").high
        table.add("success-odds", estimate, budget=budget, reason=_odds_note(scores, estimate, most, note))
        table.people("success-odds", low, subject, budget=budget)
        if budget == 1:
            _over_sessions(table, low, subject, estimate, scores.attacker)
    low, high = scores.ranks.success(1, offline=False)
    table.add(
        "weak-people",
        proportion.subject_rate(low, subject, most=high, side="attacker-at-least"),
        budget=1,
        reason="people whose key was found in at least one attempt, and the limits of their share",
    )
    _prevalence(table, high, subject)
    _worst(table, scores, low, high, subject)
    low, high = scores.ranks.log2_rank(key_bits)
    rank = means.subject_median(
        low, high, subject, unit="log2", side="attacker-at-least", method=scores.method
    )
    if scores.method == ORDERED_STATISTICS:
        rank = replace(rank, evidence="modelled")
    table.add("key-rank", rank)
    table.people("key-rank", (low + high) / 2, subject)
    _guesses(table, scores, subject, key_bits)
    if scores.right is not None:
        kind = "key-bits" if scores.method == "key-bits" else "witness-bits"
        kind = kind if disclosure.labels is not None or kind == "key-bits" else "symbols"
        table.add(
            "attacker-bit-agreement",
            means.subject_mean(
                scores.right, subject, unit="probability", side="attacker-at-least", method=kind
            ),
            reason="of the likeliest symbols, before any decoding",
        )
    information_rows(table, scores, honest, disclosure, key_bits=key_bits, seed=seed)
    keyrate_rows(table, honest, scores)
    if scores.surprise_a is not None and scores.doubt is not None:
        table.add(
            "over-confidence",
            means.subject_mean(
                scores.surprise_a - scores.doubt,
                subject,
                unit="bit/symbol",
                side="estimate",
                method="surprise-less-expected",
            ),
            reason="a calibrated belief is as surprised as it expects to be: where the interval leaves out "
            "0, figures that rest on the belief's own probabilities do not hold, while ranks still count",
        )
    return table.rows, table.per_subject


def _prevalence(table: Rows, high: Array, subject: Array) -> None:
    """Weak people whom so few attempts may have missed count too."""
    for odds, method in WEAK.items():
        found = prevalence.weak_prevalence(
            high > 0, subject, odds=odds, side="attacker-at-most", method=method
        )
        said = (
            f"people whose keys fall at one guess with odds of {odds:g} or more are at most the upper end"
        )
        table.add("weak-prevalence", found, budget=1, reason=said)


def _worst(table: Rows, scores: Scores, low: Array, high: Array, subject: Array) -> None:
    """The worst person, and the worst pair of victim and attacker where attackers are people."""
    people = len(np.unique(subject))
    ways = {"worst-person": subject}
    if (scores.attacker >= 0).any():
        pairs = np.stack([subject, scores.attacker], axis=1)
        ways["worst-pair"] = np.unique(pairs, axis=0, return_inverse=True)[1].ravel()
    for method, group in ways.items():
        seen = worst.worst_share(low, group, most=high, subjects=people, method=method)
        mine = group == seen.group
        who = f"subject {subject[mine][0]}"
        if method == "worst-pair":
            who += f" under attacker {scores.attacker[mine][0]}"
        many = len(np.unique(group))
        table.add(
            "worst-odds",
            seen.share,
            budget=1,
            reason=f"{who}, of {many}; alike people would reach {seen.by_chance:.3g} by chance",
        )


def _over_sessions(table: Rows, hits: Array, subject: Array, odds: Estimate, attacker: Array) -> None:
    """The chance of any key of many sessions, one guess at each."""
    for count in SESSIONS:
        found = sessions.odds_over_sessions(hits, subject, odds=odds, sessions=count, attacker=attacker)
        made = int(np.bincount(np.unique(subject, return_inverse=True)[1]).min())
        short = (
            f"; the value counts {made} sessions only, as some people made no more" if made < count else ""
        )
        table.add(
            "odds-over-sessions",
            found,
            budget=1,
            reason=f"any of {count} fresh keys, one guess each, independent given the person{short}",
        )


def _guesses(table: Rows, scores: Scores, subject: Array, key_bits: int) -> None:
    """Guesses that odds of 1 % and 50 % cost."""

    def rate(low: Array, high: Array) -> Estimate:
        return proportion.clustered_rate(
            low, high, subject, side="attacker-at-least", attacker=scores.attacker
        )

    for target, method in ((0.01, "at-1-percent"), (0.5, "at-50-percent")):
        found = guesses.guesses_for_odds(
            lambda budget: _chances(scores, key_bits, budget),
            rate,
            target=target,
            key_bits=key_bits,
            method=method,
        )
        if found is None:
            why = "as far as keys were ranked, the odds never get there"
            table.skip("guesses-for-odds", "log2", why, status="not-applicable", method=method)
        elif scores.method == ORDERED_STATISTICS:
            table.add("guesses-for-odds", replace(found, evidence="modelled"))
        else:
            table.add("guesses-for-odds", found)


def successes(
    scores: Scores, key_bits: int, budgets: Sequence[int] = BUDGETS
) -> Iterator[tuple[int, Array, Array]]:
    """Chance of success of each row at every budget: budget, lower, upper.

    Whoever has guesses left after a list of their own tries all keys: a budget of all keys and the
    longest list always succeeds.
    """
    for budget in budgets:
        yield budget, *_chances(scores, key_bits, budget)


def _chances(scores: Scores, key_bits: int, budget: int) -> tuple[Array, Array]:
    if budget >= 2**key_bits + MAX_GUESSES:
        return np.ones(len(scores.attempt)), np.ones(len(scores.attempt))
    return scores.ranks.success(budget, offline=budget >= OFFLINE_FROM)


def _odds_note(scores: Scores, estimate: Estimate, most: float, note: str | None) -> str:
    """What odds and their limits rest on; `most` takes people as the unit."""
    parts = [f"rank by {scores.method}"]
    seen = "no success seen: " if estimate.value == 0 else ""
    parts.append(
        f"{seen}limits assume an intra-class correlation of {proportion.ICC_FLOOR} or what was seen if "
        f"more, and under-cover from .5 on; people of whom any key falls are at most {most:.3g} of all"
    )
    if note:
        parts.append(note)
    return "; ".join(parts)
