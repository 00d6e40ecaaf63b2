"""Which rows of a result a claim rests on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from harness.claims.model import Claim, Claims, Use
from harness.claims.reading import use_of
from harness.results import Audit, Row
from harness.threats import attack_names, parts, within
from harness.vocabulary import MEASURES

__all__ = ["Ground", "claimed_budget", "claimed_budgets", "covered", "grounds"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What one attack (or the honest pair) and method contribute to a claim.

    Attributes
    ----------
    attack : str or None
    holds, breaks : Row or None
        The row whose limit must keep the threshold, and the one whose limit may refute. They differ
        where no row stands at exactly the budget that is claimed about: odds grow with the budget.
    weak : Row or None
        The share of people whose key was found at one guess, where it bounds lifetime odds from below.
    missing : str or None
        Why there is no such row; then the others are None.
    """

    attack: str | None
    holds: Row | None = None
    breaks: Row | None = None
    weak: Row | None = None
    missing: str | None = None


def claimed_budget(claim: Claim, use: Use) -> tuple[int | None, int]:
    """Guesses at one key that a claim is about, and how many keys an adversary may try them on."""
    if not MEASURES[claim.measure].budgeted:
        return None, 1
    if isinstance(claim.budget, int):
        return claim.budget, 1
    return (use.guesses, use.keys) if claim.measure == "success-odds" else (1, 1)


def claimed_budgets(claims: Claims) -> list[int]:
    """All numbers of guesses that claims in force are about, ascending: what an audit should measure."""
    use = use_of(claims)
    found = {claimed_budget(c, use)[0] for c in claims.claim if c.measure == "success-odds"}
    return sorted(b for b in found if b is not None)


def covered(
    claim: Claim, audit: Audit, scheme: str, scoped: Iterable[str]
) -> tuple[list[str | None], list[str]]:
    """Attacks that a claim is about, and those that it leaves out because they are out of scope.

    A combination with an attack that is out of scope is out of scope as well.
    """
    if claim.attack is None and not MEASURES[claim.measure].attack:
        return [None], []
    there = [n for n in attack_names(audit) if _faces(audit, scheme, n)]
    if claim.attack not in (None, "all"):
        wanted = parts(str(claim.attack))
        return [next((n for n in there if parts(n) == wanted), claim.attack)], []
    outside = [n for n in there if within(n, scoped) is not None]
    return [n for n in there if n not in outside], [f"{n}: out of scope" for n in outside]


def _faces(audit: Audit, scheme: str, attack: str) -> bool:
    asked = any(a.get("name") == attack for a in audit.attacks)
    return asked or bool(audit.select(scheme=scheme, attack=attack))


def grounds(
    claim: Claim, audit: Audit, scheme: str, *, use: Use, scoped: Iterable[str]
) -> tuple[list[Ground], list[str]]:
    """All that a claim rests on for one scheme.

    Returns
    -------
    list of Ground
        At least one.
    list of str
        Attacks that the claim does not cover, each with the reason.
    """
    attacks, left_out = covered(claim, audit, scheme, scoped)
    found: list[Ground] = []
    for attack in attacks:
        rows = [
            r for r in audit.select(scheme=scheme, attack=attack, measure=claim.measure) if _meant(r, claim)
        ]
        figures = [r for r in rows if r.status == "measured"]
        measured = [r for r in figures if _sound(r)]
        gaps = [r for r in rows if r.status in ("untested", "failed")]
        if rows and all(r.status == "not-applicable" for r in rows):
            left_out.append(f"{attack or 'the scheme'}: {rows[0].reason or 'no meaning here'}")
            continue
        accepted = [r for r in measured if r.evidence in claim.evidence]
        if measured and not accepted:
            kinds = " and ".join(sorted({str(r.evidence) for r in measured}))
            gap = f"its figure is {kinds}, and only {' or '.join(claim.evidence)} is accepted"
            found.append(Ground(attack=attack, missing=gap))
        elif len(measured) < len(figures):
            found.append(Ground(attack=attack, missing="a row of it holds numbers that cannot be"))
        elif not measured:
            found.append(Ground(attack=attack, missing=_why(gaps, audit, scheme, attack)))
        else:
            found += _by_method(claim, audit, accepted, use)
            if not MEASURES[claim.measure].budgeted:
                found += [Ground(attack=attack, missing=str(r.reason)) for r in gaps]
    if not found:
        why = "no attack in scope was run" if not left_out else "it has a meaning for no attack in scope"
        found.append(Ground(attack=claim.attack, missing=why))
    return found, left_out


def _meant(row: Row, claim: Claim) -> bool:
    unit = claim.unit is None or row.unit == claim.unit
    # an unmeasured cell may not know its method
    method = claim.method is None or row.method in (claim.method, "none")
    return unit and method


def _sound(row: Row) -> bool:
    """A result may come from anywhere: numbers that no estimator gives are no evidence."""
    if row.value is None or row.level is None or not 0 < row.level < 1:
        return False
    numbers = [n for n in (row.low, row.value, row.high) if n is not None]
    inside = row.unit not in ("probability", "p-value") or (numbers[0] >= 0 and numbers[-1] <= 1)
    return inside and numbers == sorted(numbers) and 1 <= row.subjects <= row.attempts


def _why(gaps: list[Row], audit: Audit, scheme: str, attack: str | None) -> str:
    others = [r for r in audit.select(scheme=scheme, attack=attack) if r.status in ("untested", "failed")]
    reasons = [r.reason for r in [*gaps, *(others if attack is not None else [])] if r.reason]
    return reasons[0] if reasons else "the result holds no such row"


def _by_method(claim: Claim, audit: Audit, rows: list[Row], use: Use) -> list[Ground]:
    budget, keys = claimed_budget(claim, use)
    if budget is None:
        return [Ground(attack=r.attack, holds=r, breaks=r) for r in rows]
    methods = dict.fromkeys(r.method for r in rows)
    return [_at_budget(claim, audit, [r for r in rows if r.method == m], budget, keys) for m in methods]


def _at_budget(claim: Claim, audit: Audit, rows: list[Row], budget: int, keys: int) -> Ground:
    at = {r.budget: r for r in rows if r.budget is not None and r.budget >= 1}
    holds = breaks = at.get(budget)
    if holds is None:
        above = at.get(min((b for b in at if b > budget), default=-1))
        below = at.get(max((b for b in at if b < budget), default=-1))
        holds, breaks = (above, below) if claim.at_most is not None else (below, above)
    weak = _weak(audit, rows[0], keys) if keys > 1 and claim.at_most is not None else None
    return Ground(attack=rows[0].attack, holds=holds, breaks=breaks, weak=weak)


def _weak(audit: Audit, row: Row, keys: int) -> Row | None:
    """People found at one guess in as many attempts as they have here: no more keys than in a lifetime.

    Not where the adversaries are people too: the limits of that share do not allow for how alike they are.
    """
    if row.method == "design-effect-two-way":
        return None
    each = [
        p.attempts
        for p in audit.per_subject
        if (p.scheme, p.attack, p.measure) == (row.scheme, row.attack, "success-odds")
    ]
    if not each or max(each) > keys:
        return None
    found = audit.select(scheme=row.scheme, attack=row.attack, measure="weak-people", budget=1)
    return next((r for r in found if r.status == "measured"), None)
