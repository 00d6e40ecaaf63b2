"""How little an adversary must bring along to get more than a claim allows."""

from __future__ import annotations

from dataclasses import replace

from harness.efforts import efforts
from harness.results import Audit, Row, unmeasured

__all__ = ["least_potential"]


def least_potential(audit: Audit, scheme: str) -> Row:
    """The least attack potential among rated attacks whose odds lie above claimed ones.

    Claims state the odds and rate attacks, or attacks propose a rating of their own; the value is
    compared, not its limit. Another attack, rated or not, may ask for less: the owners keep at most this.

    Parameters
    ----------
    audit : Audit
        With `claims`, or the quantity is untested.
    scheme : str

    Returns
    -------
    Row
        Unit "points".
    """
    record = audit.claims
    if record is None:
        return _untested(audit, scheme, "no claims say which odds are too much")
    rated = {effort.attack: effort for effort in efforts(audit)}
    if not rated:
        return _untested(audit, scheme, "neither claims nor attacks rated an attack")
    targets = {str(c["id"]): c["at_most"] for c in record.claims["claim"] if c["measure"] == "success-odds"}
    reached = [
        (rated[support.attack], used.row, targets[judgement.claim])
        for judgement in record.judgements
        if judgement.scheme == scheme and targets.get(judgement.claim) is not None
        for support in judgement.supports
        if support.attack in rated
        for used in support.rows
        if used.role in ("holds", "both") and (used.row.value or 0.0) > targets[judgement.claim]
    ]
    if not reached:
        return _untested(audit, scheme, "no rated attack got more than the claimed odds; others may")
    least, row, target = min(reached, key=lambda found: (found[0].points, found[0].attack))
    return replace(
        row,
        attack=None,
        measure="attack-potential",
        budget=None,
        value=float(least.points),
        low=None,
        high=None,
        level=None,
        unit="points",
        side="defender-at-most",
        method="rated-factors",
        reason=f"{least.attack}, {least.band} ({least.source}): odds above the claimed {target:g}",
    )


def _untested(audit: Audit, scheme: str, why: str) -> Row:
    return unmeasured(
        "untested",
        why,
        scheme=scheme,
        attack=None,
        measure="attack-potential",
        unit="points",
        data=str(audit.corpus.get("data")),
    )
