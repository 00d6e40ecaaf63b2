"""Rows of adversaries who act: what is left of agreement and of the witness, what queries were worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from harness.collecting import Rows
from harness.contracts import Array, Estimate
from harness.device import Asked
from harness.estimators import means, proportion
from harness.exchange import Honest
from harness.interference import Act
from harness.pursuit import Outcome
from harness.results import PerSubject, Row
from harness.score import Scores

__all__ = ["acting_rows", "assumed"]

_RANGE = "cut to the extremes that the corpus recorded; that the adversary reaches it is an assumption"


def acting_rows(
    outcome: Outcome, honest: Honest, *, scheme: str, attack: str, data: str
) -> tuple[list[Row], list[PerSubject]]:
    """What an adversary who acted on sensors or devices did to its victims; nothing for others.

    Parameters
    ----------
    outcome : Outcome
        Of all folds.
    honest : Honest
        The disturbed runs in place of those that were disturbed.
    """
    table = Rows(scheme, attack, data)
    if outcome.acts:
        _interference(table, outcome, honest)
    if outcome.asked:
        _tampering(table, outcome, honest)
    return table.rows, table.per_subject


def assumed(rows: Sequence[Row]) -> list[Row]:
    """The same rows, resting on a strength that nobody has measured."""
    return [replace(r, evidence="assumed") if r.status == "measured" else r for r in rows]


def _interference(table: Rows, outcome: Outcome, honest: Honest) -> None:
    by_label: dict[str, list[Act]] = {}
    for act in outcome.acts:
        by_label.setdefault(act.strength.label, []).append(act)
    ladder: list[tuple[float, Estimate]] = []
    for label, acts in by_label.items():
        attempt = np.concatenate([a.attempt for a in acts])
        agreed = np.concatenate([a.agreed for a in acts]).astype(float)
        rate = proportion.clustered_rate(agreed, agreed, honest.subject[attempt], side="defender-at-most")
        rate = replace(rate, evidence="assumed", method=label)
        table.add("agreement-under-interference", rate, reason=f"both devices, disturbed; {_RANGE}")
        if acts[0].strength.amount is not None:
            ladder.append((acts[0].strength.amount, rate))
    scores, main = outcome.scores, outcome.acts[0].strength.label
    for label, acts in by_label.items():
        shares = [a.right for a in acts if a.right is not None]
        if shares:
            attempt, right = (np.concatenate([s[i] for s in shares]) for i in (0, 1))
            _left(table, label, attempt, right, honest)
        elif label == main and scores is not None and scores.likely is not None:
            right = (scores.likely == honest.a.symbols[scores.attempt]).mean(axis=1)
            _left(table, label, scores.attempt, right, honest)
    if any(amount == 0 for amount, _ in ladder):  # a scale with nothing at its foot
        unit = outcome.acts[0].strength.unit
        _least(table, "least-disturbance", unit, ladder, f"of the amplitudes tried; {_RANGE}")


def _left(table: Rows, label: str, attempt: Array, right: Array, honest: Honest) -> None:
    """Min-entropy per symbol: what the odds of guessing each symbol by itself leave."""
    odds = means.subject_mean(
        right, honest.subject[attempt], unit="probability", side="defender-at-most", method=label
    )
    with np.errstate(divide="ignore"):
        value, low, high = (-float(np.log2(x)) + 0.0 for x in (odds.value, odds.high, odds.low))
    if not np.isfinite(value):
        table.skip("entropy-under-interference", "bit/symbol", "no symbol was guessed right", method=label)
        return
    found = replace(odds, value=value, low=low, high=high, unit="bit/symbol", evidence="assumed")
    table.add(
        "entropy-under-interference",
        found,
        reason="of a symbol given the waveform, before helper data; a better adversary leaves less",
    )


def _least(
    table: Rows, measure: str, unit: str, ladder: Sequence[tuple[float, Estimate]], reason: str
) -> None:
    """The least steps at which agreement is under a half, and is halved; the ends are by its limits."""
    steps = sorted(ladder, key=lambda s: s[0])
    _least_under(table, measure, unit, steps, 0.5, "half-agreement", reason)
    half = steps[0][1].value / 2
    _least_under(table, measure, unit, steps, half, "halved", f"{reason}; half of the undisturbed rate")


def _least_under(
    table: Rows,
    measure: str,
    unit: str,
    steps: Sequence[tuple[float, Estimate]],
    target: float,
    method: str,
    reason: str,
) -> None:
    under = [amount for amount, rate in steps if rate.value < target]
    if not under:
        why = f"agreement stayed at {target:.3g} or more up to {steps[-1][0]:g}, the most that was tried"
        table.skip(measure, unit, why, status="not-applicable", method=method)
        return
    if under[0] == 0:
        reason = f"nothing at all is needed: undisturbed agreement is {steps[0][1].value:.3g}"
    above = [amount for amount, rate in steps if rate.low >= target and amount < under[0]]
    surely = [amount for amount, rate in steps if rate.high < target and amount >= under[0]]
    rate = steps[0][1]
    table.add(
        measure,
        Estimate(
            value=under[0],
            low=max(above, default=0.0),
            high=min(surely, default=float("nan")),
            level=rate.level,
            unit=unit,
            side="attacker-at-least",
            evidence="assumed" if measure == "least-disturbance" else "counted",
            subjects=rate.subjects,
            attempts=rate.attempts,
            method=method,
        ),
        reason=f"least that brings agreement under {target:.3g}, {reason}",
    )


def _tampering(table: Rows, outcome: Outcome, honest: Honest) -> None:
    asked = [a for a in outcome.asked if a.queries]
    if not asked:
        table.skip("tampering-noticed", "probability", "the attack asked the device nothing")
        return
    most = max(a.queries for a in asked)
    if outcome.scores is not None and not outcome.acts:
        _recovery(table, outcome.scores, asked, honest, most)
    _noticed(table, asked, honest)
    ladder = _changed(table, asked, honest)
    if outcome.acts and ladder:
        _least(table, "least-tampering", "element", ladder, "of the numbers tried, elements at random")


def _recovery(table: Rows, scores: Scores, asked: Sequence[Asked], honest: Honest, most: int) -> None:
    """Queries until the first guess is the key, for half of the people."""
    spent = {int(i): a.queries for a in asked for i in a.attempt}
    chance = scores.ranks.success(1, offline=False)[0]
    queries = np.array([spent.get(int(i), most) for i in scores.attempt], float)
    needed = np.where(chance >= 0.5, queries, np.inf)
    found = means.subject_median(
        needed,
        needed,
        honest.subject[scores.attempt],
        unit="queries",
        side="attacker-at-least",
        method="whole-plan",
    )
    share = float(chance.mean())
    if not np.isfinite(found.value):
        why = f"after {most} queries an attempt the first guess is the key in {share:.3g} of attempts"
        table.skip("queries-to-recovery", "queries", why, status="not-applicable", method="whole-plan")
        return
    table.add("queries-to-recovery", found, reason=f"key recovered in {share:.3g} of attempts")


def _noticed(table: Rows, asked: Sequence[Asked], honest: Honest) -> None:
    """Of single changes to helper data that B accepts untouched, the share that it rejects."""
    attempts, shares = [], []
    for one in asked:
        own = np.array(one.own_body)
        changed, accepted = np.array(one.changed), np.array(one.accepted)
        took = (accepted & (changed == 0) & own[:, None]).any(axis=0)
        # a query that changed one element everywhere: what followed answers was chosen by them
        single = (changed == 1).all(axis=1, keepdims=True) & own[:, None]
        tried = took & single.any()
        rejected = (single & ~accepted).sum(axis=0)[tried] / max(1, int(single.sum()))
        attempts.append(one.attempt[tried])
        shares.append(rejected)
    attempt, share = np.concatenate(attempts), np.concatenate(shares)
    if not len(attempt):
        table.skip("tampering-noticed", "probability", "no device accepted the helper data as they were")
        return
    subject = honest.subject[attempt]
    table.add(
        "tampering-noticed",
        means.subject_mean(share, subject, unit="probability", side="estimate", method="single-changes"),
        reason="of single changes, where the device accepts what A published",
    )
    table.people("tampering-noticed", share, subject)


def _changed(table: Rows, asked: Sequence[Asked], honest: Honest) -> list[tuple[float, Estimate]]:
    """Agreement by number of elements changed, where a query changed as many in every attempt."""
    found: dict[int, list[tuple[Array, Array]]] = {}
    for one in asked:
        for own, changed, agreed in zip(one.own_body, one.changed, one.agreed, strict=True):
            count = int(changed[0])
            if own and count & (count - 1) == 0 and (changed == count).all():
                found.setdefault(count, []).append((one.attempt, agreed))
    ladder = []
    for count, parts in sorted(found.items()):
        # an attempt counts once, however often it was asked
        attempt, index = np.unique(np.concatenate([p[0] for p in parts]), return_inverse=True)
        hits = np.concatenate([p[1] for p in parts]).astype(float)
        agreed = np.bincount(index.ravel(), hits) / np.bincount(index.ravel())
        rate = proportion.clustered_rate(agreed, agreed, honest.subject[attempt], side="defender-at-most")
        rate = replace(rate, method=f"changed-{count}")
        if count:
            table.add("agreement-under-tampering", rate, reason="attempts whose A holds a key")
        ladder.append((float(count), rate))
    return ladder
