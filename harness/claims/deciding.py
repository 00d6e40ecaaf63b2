"""What would decide a claim that a result left open, if the figures seen are the true ones."""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.stats import t

from harness.claims.grounds import Ground
from harness.claims.model import Claim
from harness.claims.weighing import bounds, per_key
from harness.claims.wording import number
from harness.estimators.proportion import ICC_FLOOR, clopper_pearson
from harness.limits import PROPORTIONS, effective_trials, is_mean, lower_limit, upper_limit
from harness.rows import Row

__all__ = ["advice"]

_LARGEST_FACTOR = 2.0**20


def advice(ground: Ground, claim: Claim, *, breaks_at: float, keys: int, attackers: int | None) -> str:
    """What would decide a claim that this ground left open, if the figures seen are the true ones.

    Parameters
    ----------
    ground : Ground
        With rows; its outcome is "undecided".
    claim : Claim
    breaks_at : float
        Confidence at which it is refuted.
    keys : int
        Keys of a lifetime.
    attackers : int, optional
        People behind adversaries' captures in the corpus; None = not known.

    Returns
    -------
    str
        One sentence without its full stop.
    """
    below = claim.at_most is not None
    keep = per_key(claim.threshold, keys) if below and keys > 1 else claim.threshold
    holds, breaks = ground.holds, ground.breaks
    kept = holds is not None and holds.value is not None and _within(holds.value, keep, below=below)
    if holds is not None and kept:
        if (upper_limit if below else lower_limit)(holds, 0.501) is None:
            return f"no size decides: {holds.method} gives no {'upper' if below else 'lower'} limit"
        return _enough(holds, keep, claim.confidence, upper=below, attackers=attackers)
    refuting = ("=", ">=") if below else ("=", "<=")
    if (
        breaks is not None
        and breaks.value is not None
        and _within(breaks.value, claim.threshold, below=not below)
    ):
        if bounds(breaks) not in refuting:
            return f"no size decides: {breaks.method} ({breaks.side}) cannot refute; another method may"
        return _enough(breaks, claim.threshold, breaks_at, upper=not below, attackers=attackers)
    if holds is None or breaks is None:
        return "measuring at this very budget, or at one beyond it, could decide"
    if holds is not breaks:
        return "measuring at this very budget could decide: the rows around it stand on either side"
    if keys > 1 and holds.value != claim.threshold:
        return (
            "no size decides: odds at one key lie between what the bound over a lifetime needs "
            f"({number(keep)}) and what alone refutes ({number(claim.threshold)})"
        )
    return f"nothing decides: the figure stands at the threshold, {number(claim.threshold)}"


def _within(value: float, threshold: float, *, below: bool) -> bool:
    return value < threshold if below else value > threshold


def _enough(row: Row, threshold: float, confidence: float, *, upper: bool, attackers: int | None) -> str:
    """How much larger a corpus must be for a limit to get to the right side of the threshold."""
    if row.method in PROPORTIONS:
        return _enough_people(row, threshold, confidence, upper=upper, attackers=attackers)
    low, high = row.low, row.high
    known = row.value is not None and row.level is not None and row.subjects > 1
    if known and (low is not None or high is not None) and is_mean(row):
        return _enough_for_mean(row, threshold, confidence)
    return (
        "more people would narrow the interval; how many it takes, this figure does not tell "
        f"({row.subjects} people now)"
    )


def _factor(kept: Callable[[float], bool]) -> float | None:
    """How many times as much is enough; None if a million times are not."""
    most = 1.0
    while not kept(most):
        most *= 2
        if most > _LARGEST_FACTOR:
            return None
    least = most / 2
    for _ in range(40):
        middle = (least + most) / 2
        if kept(middle):
            most = middle
        else:
            least = middle
    return most


def _enough_people(
    row: Row, threshold: float, confidence: float, *, upper: bool, attackers: int | None
) -> str:
    trials, value = effective_trials(row), row.value
    if trials is None or value is None:
        return "more people would decide; how many, so few attempts do not tell"
    seen, now = value, trials

    def kept(factor: float) -> bool:
        n = now * factor
        low, high = clopper_pearson(seen * n, n, level=2 * confidence - 1)
        return high <= threshold if upper else low > threshold

    factor = _factor(kept)
    if factor is None:
        return f"no size decides: {number(seen)} cannot be told from {number(threshold)}"
    people = math.ceil(row.subjects * factor * (1 - 1e-9))
    size = row.attempts / row.subjects
    needed = now * factor
    each = f"with {size:.3g} attempts each"
    if row.method == "subject-unit":
        extra = people - row.subjects
        return f"about {people} people in all ({extra} more), if the share stays {number(seen)}"
    if row.method == "design-effect-two-way":
        whom = f"{people} people"
        if attackers:
            hands = math.ceil(attackers * factor * (1 - 1e-9))
            whom += f" and {hands} attackers in all ({hands - attackers} more)"
            alone = attackers / ICC_FLOOR <= needed
            rest = "; more people against the same attackers never will" if alone else ""
            if 1 / (ICC_FLOOR / row.subjects + ICC_FLOOR / attackers) <= needed:
                rest += "; more attempts alone never will"
        else:
            whom += f" in all and {factor:.3g} times as many attackers"
            rest = ""
        return f"about {whom}, {each}, if the rate stays {number(seen)}{rest}"
    more = (
        f"{people} people in all ({people - row.subjects} more), {each}, if the rate stays {number(seen)}"
    )
    return more + _by_attempts(row, now, needed, size)


def _by_attempts(row: Row, now: float, needed: float, size: float) -> str:
    """Can the same people decide by more attempts? A person is worth at most 1/ICC of them."""
    implied = (row.attempts / now - 1) / (size - 1) if size > 1 else ICC_FLOOR
    icc = max(ICC_FLOOR, implied)
    if needed >= row.subjects / icc:
        return (
            f"; more attempts of these {row.subjects} never will (a person is worth at most {1 / icc:.2g})"
        )
    each = needed * (1 - icc) / (row.subjects - needed * icc)
    return f"; or about {math.ceil(each * (1 - 1e-9))} attempts of each of these {row.subjects}"


def _enough_for_mean(row: Row, threshold: float, confidence: float) -> str:
    value, people = row.value or 0.0, row.subjects
    half = max(abs(value - end) for end in (row.low, row.high) if end is not None)
    spread = half / float(t.ppf((1 + (row.level or 0.95)) / 2, people - 1)) * math.sqrt(people)

    def kept(factor: float) -> bool:
        n = people * factor
        return float(t.ppf(confidence, n - 1)) * spread / math.sqrt(n) < abs(value - threshold)

    factor = _factor(kept)
    if factor is None:
        return f"no size decides: {number(value)} cannot be told from {number(threshold)}"
    total = math.ceil(people * factor * (1 - 1e-9))
    return f"about {total} people in all ({total - people} more), if the mean stays {number(value)}"
