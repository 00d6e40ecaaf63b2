"""What one ground says about a claim: its limits against the threshold."""

from __future__ import annotations

import math

from harness.claims.grounds import Ground
from harness.claims.model import Claim
from harness.claims.record import Support, Used
from harness.claims.wording import apart, budget_words, number, percent
from harness.limits import lower_limit, upper_limit
from harness.results import Row
from harness.vocabulary import MEASURES

__all__ = ["bounds", "chances_to_refute", "over_lifetime", "per_key", "weighed"]

OFFLINE_FROM = 2**20
"""From here on audits count a budget off line (`harness.attack_measures`)."""

_NEVER_SHOWN = ("modelled", "assumed")


def bounds(row: Row) -> str:
    """How the true quantity stands to the row's: "=", ">=" (at least this), "<=" (at most this), or "?".

    An attack shows that adversaries get at least so much; whether that is a large number or a small one
    depends on the measure.
    """
    if row.evidence == "exact":
        return "="
    gains, loses = ("<=", ">=") if MEASURES[row.measure].more_is_better else (">=", "<=")
    known = {
        "estimate": "=",
        "defender-at-least": ">=",
        "defender-at-most": "<=",
        "attacker-at-least": gains,
        "attacker-at-most": loses,
    }
    return known.get(str(row.side), "?")


def over_lifetime(odds: float, keys: int) -> float:
    """Odds that at least one of several keys falls, from above.

    ``1 - (1 - odds)^keys``. Keys of one person are independent given the person; averaged over people
    whose odds differ the truth is smaller, the function being concave (Jensen's inequality).

    Examples
    --------
    >>> round(over_lifetime(0.401, 10), 3)
    0.994
    """
    if odds >= 1:
        return 1.0
    return -math.expm1(keys * math.log1p(-odds))


def per_key(threshold: float, keys: int) -> float:
    """The odds at one key that come to a threshold over a lifetime: the inverse of `over_lifetime`."""
    if threshold >= 1:
        return 1.0
    return -math.expm1(math.log1p(-threshold) / keys)


def chances_to_refute(found: list[Ground]) -> int:
    """How many limits might refute by chance; exact figures cannot."""
    rows = [row for g in found for row in (g.breaks, g.weak)]
    return max(1, sum(row is not None and row.evidence != "exact" for row in rows))


def weighed(ground: Ground, claim: Claim, *, budget: int | None, keys: int, tests: int) -> Support:
    """What one ground alone says.

    Parameters
    ----------
    ground : Ground
    claim : Claim
    budget : int or None
        Guesses at one key that are claimed about.
    keys : int
        Keys that an adversary may try them on.
    tests : int
        Limits that might refute this claim; their levels are shared among these, so that a true claim is
        refuted at most ``1 - confidence`` of the time.

    Returns
    -------
    Support
    """
    breaks_at = 1 - (1 - claim.confidence) / tests
    if ground.missing is not None:
        return _support(ground, claim, None, None, breaks_at, "untested", ground.missing)
    if claim.measure == "leakage-test":
        return _tested(ground, claim, tests, breaks_at)
    lower, upper = _lower(ground, claim, breaks_at), _upper(ground, claim, breaks_at, keys)
    if claim.at_most is not None:
        beyond = lower is not None and lower > claim.at_most
        kept = upper is not None and upper <= claim.at_most
        refuting, showing = ("=", ">="), ("=", "<=")
    else:
        beyond = upper is not None and upper < claim.threshold
        kept = lower is not None and lower >= claim.threshold
        refuting, showing = ("=", "<="), ("=", ">=")
    outcome = "undecided"
    if beyond and ground.breaks is not None and bounds(ground.breaks) in refuting:
        outcome = "refuted"
    elif kept and ground.holds is not None:
        shown = bounds(ground.holds) in showing and ground.holds.evidence not in _NEVER_SHOWN
        outcome = "shown" if shown else "withstood"
    why = _sentence(ground, claim, lower, upper, breaks_at, outcome)
    return _support(ground, claim, lower, upper, breaks_at, outcome, why + _notes(ground, claim, budget))


def _lower(ground: Ground, claim: Claim, breaks_at: float) -> float | None:
    """From the rows that may refute, or from the one that must keep the threshold."""
    if claim.at_most is None:
        return None if ground.holds is None else lower_limit(ground.holds, claim.confidence)
    rows = [r for r in (ground.breaks, ground.weak) if r is not None]
    limits = [lower_limit(r, breaks_at) for r in rows]
    return max((x for x in limits if x is not None), default=None)


def _upper(ground: Ground, claim: Claim, breaks_at: float, keys: int) -> float | None:
    refutes = claim.at_most is None
    row, confidence = (ground.breaks, breaks_at) if refutes else (ground.holds, claim.confidence)
    limit = None if row is None else upper_limit(row, confidence)
    return limit if limit is None or keys == 1 else over_lifetime(limit, keys)


def _tested(ground: Ground, claim: Claim, tests: int, breaks_at: float) -> Support:
    """A p-value is no quantity of the scheme: it refutes below the level, shared among the tests."""
    p = None if ground.holds is None else ground.holds.value
    if p is None:
        return _support(ground, claim, None, None, breaks_at, "untested", "the row holds no p-value")
    level = claim.threshold / tests
    if p < level:
        outcome, why = "refuted", f"the p-value {apart(p, level)} lies below {number(level)}"
    elif p >= claim.threshold:
        outcome, why = "withstood", f"the test found nothing: its p-value is {apart(p, claim.threshold)}"
    else:
        outcome = "undecided"
        why = f"the p-value {apart(p, level)} lies below the level, but not below its {tests}th part"
    return _support(ground, claim, None, None, breaks_at, outcome, why)


def _sentence(
    ground: Ground, claim: Claim, lower: float | None, upper: float | None, breaks_at: float, outcome: str
) -> str:
    """The limit that decided, or both that did not."""
    threshold = claim.threshold
    low_at, high_at = (
        (breaks_at, claim.confidence) if claim.at_most is not None else (claim.confidence, breaks_at)
    )
    least = (
        "no lower limit" if lower is None else f"at least {apart(lower, threshold)} at {percent(low_at)}"
    )
    most = "no upper limit" if upper is None else f"at most {apart(upper, threshold)} at {percent(high_at)}"
    by_lower = (outcome == "refuted") == (claim.at_most is not None)
    row = ground.breaks if outcome == "refuted" else ground.holds
    if outcome == "undecided":
        return f"{least}, {most}"
    limit = lower if by_lower else upper
    if limit is not None and row is not None and row.evidence == "exact" and limit == row.value:
        return f"exactly {apart(limit, threshold)}"
    return least if by_lower else most


def _notes(ground: Ground, claim: Claim, budget: int | None) -> str:
    notes = []
    above, below = (
        (ground.holds, ground.breaks) if claim.at_most is not None else (ground.breaks, ground.holds)
    )
    if budget is not None and ground.holds is not ground.breaks:
        notes.append(
            f"not measured {budget_words(budget)}: upper limit {_of(above)}, lower limit {_of(below)}"
        )
        if above is not None and above.budget is not None and budget < OFFLINE_FROM <= above.budget:
            notes.append("the upper one counts trials made beforehand, as guessing off line does")
    return "".join(f"; {note}" for note in notes)


def _of(row: Row | None) -> str:
    return "unknown" if row is None else f"that {budget_words(row.budget)}"


def _support(
    ground: Ground,
    claim: Claim,
    lower: float | None,
    upper: float | None,
    breaks_at: float,
    outcome: str,
    why: str,
) -> Support:
    same = ground.holds is ground.breaks
    roles = {
        "both": ground.holds if same else None,
        "holds": None if same else ground.holds,
        "breaks": None if same else ground.breaks,
        "weak-people": ground.weak,
    }
    return Support(
        attack=ground.attack,
        rows=tuple(Used(role=role, row=row) for role, row in roles.items() if row is not None),
        lower=lower,
        upper=upper,
        holds_at=claim.confidence,
        breaks_at=breaks_at,
        outcome=outcome,
        why=why,
    )
