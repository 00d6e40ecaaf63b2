"""Which metrics of a candidate stand beside which of what it is held against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.baseline import Baseline, Cell
from harness.margins import Gated
from harness.results import Audit
from harness.verdicts import Metric

__all__ = ["Pair", "gaps", "pairs_of"]


@dataclass(frozen=True, slots=True)
class Pair:
    """One metric on both sides."""

    metric: Metric
    against: str
    own: Gated
    old: Cell | None
    new: Cell | None
    identical: bool
    aside: str  # why the two sides cannot be compared, "" where they can


def gaps(candidate: Audit) -> dict[tuple[str, str | None], str]:
    """Why a scheme, or an adversary against it, left cells without numbers."""
    rows = [r for r in candidate.rows if r.status != "measured" and r.reason]
    # a failure explains more than what is untested beside it
    rows.sort(key=lambda r: r.status == "failed")
    return {(r.scheme, r.attack): f"{r.status}: {r.reason}" for r in rows}


def pairs_of(
    new: Baseline,
    old: Baseline,
    against: str,
    gated: Mapping[str, Gated],
    gaps: Mapping[tuple[str, str | None], str],
) -> list[Pair]:
    """The metrics of both sides; `gaps` say why the candidate lacks some."""
    only = new.schemes[0].name if len(new.schemes) == 1 else None
    before, now = old.metrics(), new.metrics()
    found = []
    for metric in sorted(before.keys() | now.keys()):
        was, own = before.get(metric), now.get(metric)
        if (was is None or was.status != "measured") and (own is None or own.status != "measured"):
            continue  # untested then and now: an open threat of the audit, not a change
        aside = ""
        if own is None or own.status != "measured":
            why = gaps.get((metric.scheme or only or "", metric.attack or None))
            aside = f"measured in the {against}, but not in the candidate{f' ({why})' if why else ''}"
        elif was is None or was.status != "measured":
            aside = f"not measured in the {against}; nothing to compare with"
        same = not aside and _same_outcome(metric, new, own, old, was)
        found.append(Pair(metric, against, gated[metric.measure], was, own, same, aside))
    return found


def _same_outcome(metric: Metric, new: Baseline, own: Cell | None, old: Baseline, was: Cell | None) -> bool:
    """The replayed streams came out equal, attempt by attempt."""
    if own is None or was is None or was.people != own.people:
        return False
    before, now = _outcome(old, was.scheme, metric.attack), _outcome(new, own.scheme, metric.attack)
    if metric.measure == "time":  # its values are read off the captures, not sampled
        return True
    return before is not None and before == now


def _outcome(side: Baseline, scheme: str, attack: str) -> str | None:
    return next((s.outcomes.get(attack) for s in side.schemes if s.name == scheme), None)
