"""A candidate held against a baseline: has leakage gone up, on the same people and streams?

In this order. A metric passes if the upper limit of its harm lies below its margin; else it fails if the
harm is significant, corrected for all metrics; else it is undecided, which never passes. The correction
spends its level where these people need it to see twice the margin.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from harness.baseline import Baseline, Cell, baseline_of
from harness.comparability import notices_of, require_comparable
from harness.contracts import Array
from harness.errors import UsageError
from harness.estimators import paired, proportion
from harness.estimators.multiple import holm, where_it_helps
from harness.margins import GATED, Gated, chosen_margins
from harness.pairing import Pair, gaps, pairs_of
from harness.results import Audit
from harness.verdicts import Comparison, Metric, Verdict
from harness.vocabulary import MEASURES

__all__ = ["LEVEL", "PASS_LEVEL", "gate"]

LEVEL = 0.01
"""Chance that a run in which nothing got worse fails, over all its metrics."""

PASS_LEVEL = 0.95
"""One-sided level of the limit that must lie below the margin."""

_MISSING = 0.05  # share of people who may be missing on one side
_LEAST_PEOPLE = 3
_RARE = 0.02  # a rate of which nothing was seen may be this high before that is too little to know


def gate(
    candidate: Audit,
    *,
    baseline: Baseline | Audit,
    anchor: Baseline | None = None,
    margins: Mapping[str, float] | None = None,
    level: float = LEVEL,
) -> Verdict:
    """Hold a candidate against a baseline.

    Parameters
    ----------
    candidate : Audit
    baseline : Baseline or Audit
        What it must not be worse than; an Audit is taken as the old version under the same tool.
    anchor : Baseline, optional
        A fixed older baseline: leaks below the margin must not add up unseen.
    margins : mapping of str to float, optional
        Measure -> margin, instead of the default.
    level : float
        Family-wise level at which harm fails.

    Returns
    -------
    Verdict
        "pass" only if every metric passes; metrics that are too rare to resolve are listed as "unresolved".

    Raises
    ------
    UsageError
        If the two were not measured on the same people with the same attacks, or a margin makes no sense.
    """
    if not 0 < level < 0.5:
        raise UsageError(f"the level must lie strictly between 0 and .5, got {level:g}")
    gated = chosen_margins(margins or {})
    name = "old" if isinstance(baseline, Audit) else "baseline"
    held = baseline_of(baseline, reason="old version") if isinstance(baseline, Audit) else baseline
    new = baseline_of(_measuring(candidate), reason="candidate")
    references = [(name, held), *([("anchor", anchor)] if anchor is not None else [])]
    pairs: list[Pair] = []
    notices: list[str] = []
    for against, reference in references:
        require_comparable(new, reference, against)
        pairs += pairs_of(new, reference, against, gated, gaps(candidate))
        notices += notices_of(new, reference, against)
    drafts = [_compared(pair, new.corpus.subjects) for pair in pairs]
    # what cannot have changed, or cannot be compared, is not tested and costs the others nothing
    tested = [not d.identical and d.p is not None for d in drafts]
    p = [d.p for d, yes in zip(drafts, tested, strict=True) if yes and d.p is not None]
    twice = [
        _twice_the_margin(pair, pair.old, pair.new)
        for pair, yes in zip(pairs, tested, strict=True)
        if yes and pair.old is not None and pair.new is not None
    ]
    adjusted = iter(holm(p, weights=where_it_helps(twice, level=level)))
    judged = [
        _judged(draft, pair, float(next(adjusted)) if yes else 1.0, level)
        for draft, pair, yes in zip(drafts, pairs, tested, strict=True)
    ]
    final = _with_unresolved(judged, pairs, _upper_limits(candidate, new))
    outcomes = {c.outcome for c in final}
    outcome = "fail" if "fail" in outcomes else "undecided" if "undecided" in outcomes else "pass"
    if candidate.failed:
        failed = next(r for r in candidate.rows if r.status == "failed")
        notices.append(f"{failed.attack or failed.scheme} failed in the candidate: {failed.reason}")
    if outcome == "pass" and (candidate.failed or not outcomes & {"pass"}):
        outcome = "undecided"  # what was not compared was not let through
    better = [c for c in final if c.better]
    if better and outcome == "pass":
        names = ", ".join(str(c.metric) for c in better[:5]) + (", ..." if len(better) > 5 else "")
        notices.append(
            f"Better by more than the margin: {names}. Later versions could lose this unseen; to keep it: "
            "keyassay baseline RESULT --reason TEXT --out FILE"
        )
    return Verdict(
        outcome=outcome,
        comparisons=final,
        notices=list(dict.fromkeys(notices)),
        level=level,
        candidate=", ".join(s.name for s in new.schemes),
        held_against="; ".join(f"{against}: {reference.reason}" for against, reference in references),
    )


def _measuring(candidate: Audit) -> Audit:
    """A failed cell of a candidate is one that it does not measure; a baseline with one is refused."""
    rows = [replace(r, status="untested") if r.status == "failed" else r for r in candidate.rows]
    return replace(candidate, rows=rows)


def _compared(pair: Pair, subjects: int) -> Comparison:
    """The numbers of one metric; its outcome is open, unless the sides cannot be compared."""
    own = pair.own
    blank = Comparison(
        metric=pair.metric,
        against=pair.against,
        old=pair.old.mean if pair.old else None,
        new=pair.new.mean if pair.new else None,
        unit=own.unit,
        scale=own.scale,
        worse=None,
        limit=None,
        margin=own.margin,
        detectable=None,
        p=None,
        adjusted=None,
        people=0,
        identical=pair.identical,
        better=False,
        outcome="undecided",
        reason=pair.aside,
    )
    if pair.aside or pair.old is None or pair.new is None:
        return blank
    people = sorted(pair.old.people.keys() & pair.new.people.keys(), key=int)
    either = pair.old.people.keys() | pair.new.people.keys()
    if len(people) < _LEAST_PEOPLE and not pair.identical:
        return replace(blank, people=len(people), reason=_few(len(people)))
    old, new = _values(pair.old, people), _values(pair.new, people)
    sign = _sign(pair)
    found = paired.harm(
        sign * old,
        sign * new,
        scale=own.scale,
        level=PASS_LEVEL,
        unseen=_unseen(pair.new, people) if own.rate else None,
    )
    shared = replace(
        blank,
        old=float(old.mean()),
        new=float(new.mean()),
        worse=found.worse,
        limit=found.limit,
        detectable=found.detectable,
        p=found.p,
        people=len(people),
        better=_better(sign * old, sign * new, own),
    )
    if len(either) - len(people) > _MISSING * max(len(either), subjects):
        gone = len(either) - len(people)
        return replace(shared, p=None, reason=f"{gone} people have a value on one side only")
    return replace(shared, reason=_settled(old, new, pair, shared))


def _values(cell: Cell, people: Sequence[str]) -> Array:
    return np.array([cell.people[p][0] for p in people])


def _sign(pair: Pair) -> float:
    """Makes larger worse."""
    return -1.0 if MEASURES[pair.metric.measure].more_is_better else 1.0


def _twice_the_margin(pair: Pair, old: Cell, new: Cell) -> float:
    """The harm that a gate should hardly ever miss, in standard errors of these people."""
    people = sorted(old.people.keys() & new.people.keys(), key=int)
    own, sign = pair.own, _sign(pair)
    twice = 2 * own.margin if own.scale == "difference" else own.margin**2
    return paired.effect(sign * _values(old, people), sign * _values(new, people), twice, scale=own.scale)


def _settled(old: Array, new: Array, pair: Pair, found: Comparison) -> str:
    """Why a limit that looks exact says nothing; "" where it does say something."""
    if pair.identical or pair.own.rate:
        return ""
    if np.array_equal(old, new):
        if np.ptp(old) > 0:
            return ""  # people differ, and each has kept their value: the same streams
        return (
            "every person has the same value in both, which is too little to tell how far it may have moved"
        )
    if pair.metric.measure == "time" and np.ptp(old) == np.ptp(new) == 0:
        return ""  # a constant of the scheme, not a sample of people
    moved = new - old
    if found.worse is None or np.ptp(moved) > 1e-9 * float(np.abs(moved).max()):
        return ""
    if (found.worse < 0) if found.scale == "difference" else (found.worse < 1):
        return ""
    return "every person's value moved by the same amount, so that no limit can be put to it"


def _few(people: int) -> str:
    return f"{people} paired people: at least {_LEAST_PEOPLE} are needed for a limit, and more to pass"


def _unseen(cell: Cell, people: Sequence[str]) -> float:
    """Upper limit of a rate of which these people's attempts showed nothing."""
    subject = np.repeat(np.arange(len(people)), [cell.people[p][1] for p in people])
    nothing = np.zeros(len(subject))
    level = 2 * PASS_LEVEL - 1
    return proportion.clustered_rate(nothing, nothing, subject, side="estimate", level=level).high


def _better(old: Array, new: Array, own: Gated) -> bool:
    """Better by more than the margin, by the same rules as worse."""
    found = paired.harm(new, old, scale=own.scale, level=PASS_LEVEL)
    if found.worse is None or found.p is None:
        return False
    return found.worse > own.margin and found.p < 1 - PASS_LEVEL


def _judged(draft: Comparison, pair: Pair, adjusted: float, level: float) -> Comparison:
    if draft.identical:
        return replace(
            draft,
            outcome="pass",
            adjusted=None,
            p=None,
            reason="the same streams came out equal, attempt by attempt",
        )
    if pair.aside.startswith("not measured"):
        return replace(draft, outcome="unresolved")
    if draft.p is None:
        return draft
    done = replace(draft, adjusted=adjusted)
    no_harm = 0.0 if draft.scale == "difference" else 1.0
    below = draft.limit is not None and draft.limit < draft.margin and not draft.reason
    free = below and draft.limit is not None and draft.limit <= no_harm  # does not rest on the margin
    fine = draft.detectable is None or draft.margin >= draft.detectable
    if below and (free or fine):
        return replace(done, outcome="pass", reason="the limit lies below the margin")
    small = bool(draft.reason) and draft.worse is not None and draft.worse < draft.margin
    if adjusted < level and not small:
        return replace(done, outcome="fail", reason=f"harm is significant after Holm (p = {adjusted:.2g})")
    return replace(done, reason=draft.reason or _undecided(draft, pair))


def _undecided(draft: Comparison, pair: Pair) -> str:
    if draft.worse is not None and draft.worse >= draft.margin:
        return (
            f"harm of the margin or more was seen, but corrected for all metrics chance may explain it: "
            f"more people than {draft.people} would tell"
        )
    if draft.detectable is not None and draft.margin < draft.detectable:
        need = _people_needed(draft)
        more = f", or about {need} people instead of {draft.people}" if need else ""
        return (
            f"the margin {draft.margin:.4g} lies below the smallest effect that these people can show, "
            f"{draft.detectable:.4g}: take a margin of at least that{more}"
        )
    if pair.own.rate and draft.limit is not None and draft.limit >= draft.margin:
        return (
            "so few attempts changed that the limit is what these people could have overlooked: more people"
        )
    need = _people_needed(draft)
    return f"the limit does not lie below the margin{f': about {need} people would decide' if need else ''}"


def _people_needed(draft: Comparison) -> int | None:
    """People at whom the metric would pass if what was seen is true: limits shrink as 1 / sqrt(people)."""
    if draft.limit is None or draft.worse is None or draft.detectable is None:
        return None
    distances = [draft.limit, draft.worse, draft.margin, draft.detectable]
    if draft.scale != "difference":  # factors are far apart on a log scale
        if min(distances) <= 0 or not all(map(math.isfinite, distances)):
            return None
        distances = [math.log(d) for d in distances]
    limit, worse, margin, detectable = distances
    if not worse < min(margin, limit):
        return None
    shrink = max((limit - worse) / (margin - worse), detectable / margin)
    return math.ceil(draft.people * shrink**2) + 1


def _with_unresolved(
    judged: Sequence[Comparison], pairs: Sequence[Pair], limits: Mapping[Metric, float]
) -> list[Comparison]:
    """Rates at which nobody got worse, but that these people cannot resolve, decide nothing where ranks do.

    A rate that rose for anybody is undecided however its adversary's ranks look: a few broken people hardly
    move a mean of ranks.
    """
    ranks = {
        (c.against, c.metric.scheme, c.metric.attack): c.outcome
        for c in judged
        if c.metric.measure == "key-rank"
    }
    return [
        _resolved(c, ranks.get((c.against, c.metric.scheme, c.metric.attack)), limits.get(c.metric, 1.0))
        if _unharmed(pair)
        else c
        for c, pair in zip(judged, pairs, strict=True)
    ]


def _unharmed(pair: Pair) -> bool:
    """Does every person have a value on both sides, and nobody a worse one?"""
    if pair.old is None or pair.new is None or pair.old.people.keys() != pair.new.people.keys():
        return False
    return all(pair.new.people[p][0] <= value for p, (value, _) in pair.old.people.items())


def _resolved(c: Comparison, rank: str | None, limit: float) -> Comparison:
    if c.outcome != "undecided" or c.scale != "odds-ratio" or c.p is None:
        return c
    seen = "no success on either side" if c.old == c.new == 0 else "nobody got worse"
    said = f"{seen}, which these people cannot resolve; the candidate's upper limit is {limit:.3g}"
    if c.metric.measure == "success-odds":
        if rank == "pass":
            return replace(c, outcome="unresolved", reason=f"{said}, and the adversary's key-rank passes")
        return replace(c, reason=f"{said}, and the adversary's key-rank does not pass")
    if c.old == c.new == 0 and limit <= _RARE:
        return replace(c, outcome="unresolved", reason=said)
    return replace(c, reason=f"{said}: more people would decide")


def _upper_limits(candidate: Audit, new: Baseline) -> dict[Metric, float]:
    """Upper limit of each rate of the candidate, from its row where there is one: it knows who attacked."""
    rows = {(r.scheme, r.attack, r.measure, r.budget): r.high for r in candidate.rows if r.high is not None}
    return {
        metric: rows.get(
            (cell.scheme, cell.attack, cell.measure, cell.budget), _unseen(cell, list(cell.people))
        )
        for metric, cell in new.metrics().items()
        if cell.people and GATED[metric.measure].rate
    }
