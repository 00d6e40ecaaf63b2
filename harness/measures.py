"""From honest runs and judged attacks to rows of the result table."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from harness.contracts import Array, Estimate
from harness.decoding import witness_bits
from harness.errors import ContractError, InsufficientData
from harness.estimators import leakage, means, proportion, rate
from harness.estimators.entropy import given_helper, most_common
from harness.exchange import Honest, call, strangers
from harness.results import PerSubject, Row, measured, unmeasured
from harness.score import ORDERED_STATISTICS, Disclosure, Scores
from harness.streams import stream
from harness.validate import MAX_GUESSES

__all__ = ["BUDGETS", "OFFLINE_FROM", "attack_rows", "honest_rows"]

BUDGETS = (1, 10, 100, 2**20, 2**40, 2**64)
OFFLINE_FROM = 2**20
"""From here on a budget is spent off line, where trials made beforehand count."""


class _Table:
    """Collects rows of one scheme (and attack)."""

    def __init__(self, scheme: str, attack: str | None, data: str) -> None:
        self.scheme, self.attack, self.data = scheme, attack, data
        self.rows: list[Row] = []
        self.per_subject: list[PerSubject] = []

    def add(
        self, measure: str, estimate: Estimate, budget: int | None = None, reason: str | None = None
    ) -> None:
        self.rows.append(
            measured(
                estimate,
                scheme=self.scheme,
                attack=self.attack,
                measure=measure,
                data=self.data,
                budget=budget,
                reason=reason,
            )
        )

    def skip(
        self, measure: str, unit: str, reason: str, status: str = "untested", method: str = "none"
    ) -> None:
        self.rows.append(
            unmeasured(
                status,
                reason,
                scheme=self.scheme,
                attack=self.attack,
                measure=measure,
                unit=unit,
                data=self.data,
                method=method,
            )
        )

    def people(self, measure: str, values: Array, subject: Array, budget: int | None = None) -> None:
        for person, value, size in zip(*means.subject_means(values, subject), strict=True):
            if np.isfinite(value):
                self.per_subject.append(
                    PerSubject(
                        scheme=self.scheme,
                        attack=self.attack,
                        measure=measure,
                        budget=budget,
                        subject=int(person),
                        value=float(value),
                        attempts=int(size),
                    )
                )


def honest_rows(
    scheme: Any, honest: Honest, disclosure: Disclosure, *, data: str, seed: int
) -> tuple[list[Row], list[PerSubject], dict[str, Any]]:
    """What the scheme does for its owner: agreement, failures, time, entropy, rate.

    Returns
    -------
    rows, per_subject, facts
        `facts` carries what the findings need: key repeats, strangers' successes, who is worst.
    """
    table = _Table(scheme.name, None, data)
    facts: dict[str, Any] = {}
    subject = honest.subject
    agreed = honest.agreed.astype(float)
    agreement = proportion.clustered_rate(agreed, agreed, subject, side="estimate")
    table.add("key-agreement", agreement, reason="failures to acquire count as failures")
    table.people("key-agreement", agreed, subject)
    failed = 1.0 - (honest.a.acquired & honest.b.acquired)
    table.add("failure-to-acquire", proportion.clustered_rate(failed, failed, subject, side="estimate"))
    table.people("failure-to-acquire", failed, subject)
    _mismatch(table, honest, disclosure)
    _strangers(table, scheme, honest, seed, facts)
    _repeats(table, honest, facts)
    seconds = means.subject_mean(honest.seconds, subject, unit="s", side="estimate", method="per-attempt")
    table.add("time", seconds)
    strength = _entropy(table, scheme, honest, disclosure, facts)
    _rates(table, honest, disclosure, seconds, agreement, strength)
    return table.rows, table.per_subject, facts


def _mismatch(table: _Table, honest: Honest, disclosure: Disclosure) -> None:
    both = honest.a.acquired & honest.b.acquired
    if not both.any():
        table.skip("bit-mismatch", "probability", "no attempt was acquired by both devices")
        return
    labels = disclosure.labels
    a, b = honest.a.symbols[both], honest.b.symbols[both]
    method = "symbols"
    if labels is not None:
        a, b, method = witness_bits(a, labels), witness_bits(b, labels), "witness-bits"
    values = (a != b).mean(axis=1)
    subject = honest.subject[both]
    table.add(
        "bit-mismatch",
        means.subject_mean(values, subject, unit="probability", side="estimate", method=method),
    )
    table.people("bit-mismatch", values, subject)


def _strangers(table: _Table, scheme: Any, honest: Honest, seed: int, facts: dict[str, Any]) -> None:
    if len(np.unique(honest.subject)) < 2:
        table.skip("strangers-agreement", "probability", "strangers need at least two subjects")
        return
    try:
        hit = strangers(scheme, honest, seed=seed)[0]
    except ContractError as error:
        table.skip("strangers-agreement", "probability", str(error), status="failed")
        return
    usable = honest.established
    if not usable.any():
        table.skip("strangers-agreement", "probability", "no attempt established a key")
        return
    values = hit[usable].astype(float)
    facts["strangers"] = (values, honest.subject[usable])
    table.add(
        "strangers-agreement",
        proportion.clustered_rate(values, values, honest.subject[usable], side="estimate"),
        reason="one stranger each, on A's helper data",
    )
    table.people("strangers-agreement", values, honest.subject[usable])


def _repeats(table: _Table, honest: Honest, facts: dict[str, Any]) -> None:
    usable = honest.established
    if usable.sum() < 2:
        table.skip("key-repeats", "probability", "fewer than two attempts established a key")
        return
    packed = np.packbits(honest.keys_a[usable], axis=1)
    _, index, count = np.unique(packed, axis=0, return_inverse=True, return_counts=True)
    n, width = int(usable.sum()), honest.keys_a.shape[1]
    repeated = (count[index.ravel()] > 1).astype(float)
    pairs = int((count * (count - 1) // 2).sum())
    facts["repeats"] = {"pairs": pairs, "keys": n, "expected-pairs": math.ldexp(n * (n - 1) / 2, -width)}
    table.add(
        "key-repeats",
        proportion.clustered_rate(repeated, repeated, honest.subject[usable], side="estimate"),
        reason="share of keys that another attempt had too",
    )


def _entropy(
    table: _Table, scheme: Any, honest: Honest, disclosure: Disclosure, facts: dict[str, Any]
) -> Estimate | None:
    """Entropy of the witness, and what is left of the key given helper data."""
    usable = honest.a.acquired
    if not usable.any():
        table.skip("min-entropy", "bit/symbol", "no attempt was acquired", method="most-common-value")
        return None
    symbols, subject = honest.a.symbols[usable], honest.subject[usable]
    pooled = most_common.most_common_value(symbols, attempts=len(symbols), subjects=len(np.unique(subject)))
    worst, who = most_common.worst_subject(symbols, subject)
    small = (
        None if symbols.size >= 1_000_000 else f"{symbols.size} symbols: below the standard's sample size"
    )
    table.add("min-entropy", pooled, reason=small)
    table.add(
        "min-entropy",
        worst,
        reason=f"subject {who}, the least of all; the least of many is low by chance too",
    )
    facts["worst"] = who
    if disclosure.labels is None:
        reason = disclosure.problem or "the scheme does not disclose what its helper data say"
        table.skip("min-entropy", "bit", reason, method="average-given-helper")
        return None
    linear = call(scheme.name, "linear()", scheme.linear, honest.helper)
    limit = float(min(scheme.key_bits, disclosure.secret_bits))
    m = symbols.shape[1]
    chain = given_helper.chain_bound(
        worst, symbols=m, parities=disclosure.block_bits[1] * disclosure.blocks, limit=limit
    )
    table.add("min-entropy", chain, reason="for the worst subject, if its symbols were independent")
    fitted = partial(
        given_helper.estimated_min_entropy,
        labels=disclosure.labels,
        parity=linear.parity,
        positions=linear.positions[0],
        limit=limit,
    )
    mine = subject == who
    try:
        exact, alone = fitted(symbols, subject), fitted(symbols[mine], subject[mine])
    except (InsufficientData, ValueError) as error:
        table.skip("min-entropy", "bit", str(error), method="average-given-helper-independent-symbols")
        return chain
    table.add("min-entropy", exact, reason="exact for independent symbols with the shares of all people")
    # a pooled figure hides people: half of them at .9 and half at .1 pool to uniform bits
    alone = replace(alone, method="average-given-helper-worst-subject")
    table.add("min-entropy", alone, reason=f"the same with the shares of subject {who} alone")
    return exact


def _rates(
    table: _Table,
    honest: Honest,
    disclosure: Disclosure,
    seconds: Estimate,
    agreement: Estimate,
    strength: Estimate | None,
) -> None:
    if not seconds.value > 0:
        table.skip("rate", "bit/s", "the captures do not say how long sensing took")
        return
    m, alphabet = honest.a.symbols.shape[1], honest.a.alphabet
    bits = {"symbol-log2": m * float(np.log2(alphabet))}
    if disclosure.labels is not None:
        used, parities = disclosure.block_bits
        bits = rate.usual_bits(
            symbols=m,
            alphabet=alphabet,
            witness_bits=used * disclosure.blocks,
            used_bits=used,
            code_length=disclosure.code_length,
            parities=parities,
            blocks=disclosure.blocks,
        )
    found = rate.rates(bits, seconds)
    if strength is not None:
        found.append(rate.net_rate(strength, agreement, seconds))
    else:
        why = "what is left given the helper data is not known, so no rate counts"
        table.skip("rate", "bit/s", why, method=rate.COUNTS)
        table.skip("time-to-key", "s", why, method=rate.COUNTS)
    for estimate in found:
        counts = estimate.method == rate.COUNTS
        reason = "a usual claim, not a security figure"
        if counts and strength is not None:
            reason = f"this one counts; bits left by {strength.method}"
        table.add("rate", estimate, reason=reason)
        time = rate.time_to_strength(estimate)
        if time is None:
            table.skip(
                "time-to-key", "s", "at this rate never", method=estimate.method, status="not-applicable"
            )
        else:
            table.add("time-to-key", time, reason=f"until {rate.STRENGTH_BITS} bits; {reason}")


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
) -> tuple[list[Row], list[PerSubject]]:
    """What one adversary gets: odds by budget, key rank, information."""
    table = _Table(scheme, attack, data)
    subject = honest.subject[scores.attempt]
    for budget, low, high in successes(scores, key_bits):
        estimate = proportion.clustered_rate(
            low, high, subject, side="attacker-at-least", attacker=scores.attacker
        )
        if scores.method == ORDERED_STATISTICS:  # the order in which keys are tried is a model's
            estimate = replace(estimate, evidence="modelled")
        table.add("success-odds", estimate, budget=budget, reason=_odds_note(scores, estimate, note))
        table.people("success-odds", low, subject, budget=budget)
    found = scores.ranks.success(1, offline=False)[0] >= 0.5
    table.add(
        "weak-people",
        proportion.subject_rate(found, subject, side="attacker-at-least"),
        budget=1,
        reason="people whose key was found in at least one attempt, and the limits of their share",
    )
    low, high = scores.ranks.log2_rank(key_bits)
    table.add(
        "key-rank",
        means.subject_median(
            low, high, subject, unit="log2", side="attacker-at-least", method=scores.method
        ),
    )
    table.people("key-rank", (low + high) / 2, subject)
    _information(table, scores, disclosure, subject, key_bits, seed)
    return table.rows, table.per_subject


def successes(scores: Scores, key_bits: int) -> Iterator[tuple[int, Array, Array]]:
    """Chance of success of each row at every budget: budget, lower, upper.

    Whoever has guesses left after a list of their own tries all keys: a budget of all keys and the
    longest list always succeeds.
    """
    for budget in BUDGETS:
        if budget >= 2**key_bits + MAX_GUESSES:
            yield budget, np.ones(len(scores.attempt)), np.ones(len(scores.attempt))
        else:
            yield (budget, *scores.ranks.success(budget, offline=budget >= OFFLINE_FROM))


def _odds_note(scores: Scores, estimate: Estimate, note: str | None) -> str:
    parts = [f"rank by {scores.method}"]
    if estimate.value == 0:
        parts.append(
            f"no success seen: the upper limit assumes an intra-class correlation of {proportion.ICC_FLOOR}"
        )
    if note:
        parts.append(note)
    return "; ".join(parts)


def _information(
    table: _Table, scores: Scores, disclosure: Disclosure, subject: Array, key_bits: int, seed: int
) -> None:
    if scores.gain is None:
        table.skip(
            "mutual-information",
            "bit/symbol",
            "the attack believes something of the key, not of the witness",
            status="not-applicable",
        )
    else:
        table.add("mutual-information", leakage.symbol_information(scores.gain, subject))
        table.people("mutual-information", scores.gain, subject)
        try:
            p = leakage.permutation_p_value(
                scores.cross, rng=stream(seed, "permutation", str(table.attack))
            )
            table.add(
                "leakage-test", p, reason="does the view tell an attempt from the same person's others?"
            )
        except InsufficientData as error:
            table.skip("leakage-test", "p-value", str(error))
    if np.isnan(scores.ranks.surprise).any():
        table.skip(
            "mutual-information",
            "bit",
            "no posterior of whole keys: the code is too large to enumerate, or keys were listed",
        )
        return
    entropy = float(min(key_bits, disclosure.secret_bits) if disclosure.labels is not None else key_bits)
    table.add(
        "mutual-information",
        leakage.key_information(scores.ranks.surprise, subject, entropy=entropy),
        reason=f"of {entropy:g} bits that the key promises",
    )
