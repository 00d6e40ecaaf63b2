"""Which figures a report has, as data taken from the rows that its tables show."""

from __future__ import annotations

import math
from collections.abc import Iterable

from harness.results import Audit, Row
from reports.model import Figure, Point, Series
from reports.reading import Outcome, attack_names, key_bits, outcome
from reports.wording import adversary_text, budget_text, clean

__all__ = ["figures_of"]

_STAGE_NAMES = {
    "uniform-record": "as many as symbols can hold",
    "independent-record": "unequal symbols",
    "chain-record": "dependence of neighbours",
    "key-length": "length of the key",
    "given-helper": "helper data",
    "strongest-view": "strongest adversary",
    "leftover-hash-dodis-2008": "extraction",
}


def figures_of(audit: Audit, scheme: str, number: int) -> list[Figure]:
    """The figures of one scheme; those without a single measured value are left out."""
    found = [outcome(audit, scheme, a) for a in attack_names(audit, scheme)]
    bits = key_bits(audit, scheme)
    name = clean(scheme)
    figures = [
        Figure(
            "odds",
            f"odds-{number}",
            f"{name}: odds of success against guesses",
            "One panel per adversary, both axes logarithmic. Line: odds; bar: interval; hollow "
            "triangle: upper limit "
            "where no success was seen; dashed: what the key's length promises. Diamonds: this "
            "adversary beats the promise.",
            tuple(
                _series(o, (p for b, r in o.odds.items() for p in _points(math.log2(b), r))) for o in found
            ),
            bits,
        ),
        Figure(
            "rank",
            f"rank-{number}",
            f"{name}: how far down the true key stands",
            "Median of the binary logarithm of the true key's place in each adversary's order of "
            "guessing, with interval; "
            "dashed: where it stands for a uniform key. Diamonds: this adversary beats the promise.",
            tuple(
                _series(o, _points(0.0, o.rank))
                for o in found
                if o.rank is not None and o.rank.value is not None
            ),
            bits,
        ),
        Figure(
            "leakage",
            f"leakage-{number}",
            f"{name}: what each view tells about a witness symbol",
            "Mutual information between view and witness in bits per symbol, with interval; an arrow "
            "marks an open end. "
            "Diamonds: this adversary beats the promise.",
            tuple(_series(o, _points(0.0, o.leakage)) for o in found if _per_symbol(o.leakage)),
        ),
        _people(audit, scheme, number, found),
        _left(audit, scheme, number),
    ]
    return [f for f in figures if any(s.points for s in f.series)]


def _left(audit: Audit, scheme: str, number: int) -> Figure:
    rows = [
        r
        for r in audit.select(scheme=scheme, attack=None, measure="bits-left")
        if r.unit == "bit" and r.method in _STAGE_NAMES
    ]
    return Figure(
        "left",
        f"left-{number}",
        f"{clean(scheme)}: what is left, stage by stage",
        "Bits left of one record once the adversary knows everything up to each stage, with interval.",
        tuple(Series(_STAGE_NAMES[r.method], _points(0.0, r)) for r in rows),
    )


def _series(found: Outcome, points: Iterable[Point]) -> Series:
    return Series(adversary_text(found.attack), tuple(points), found.verdict.tone == "alarm")


def _points(x: float, row: Row | None) -> tuple[Point, ...]:
    if row is None or row.value is None:
        return ()
    return (Point(x, row.value, row.low, row.high),)


def _per_symbol(row: Row | None) -> bool:
    return row is not None and row.unit == "bit/symbol" and row.value is not None


def _people(audit: Audit, scheme: str, number: int, found: list[Outcome]) -> Figure:
    own = [p for p in audit.per_subject if p.scheme == scheme and math.isfinite(p.value)]
    agreed = [p for p in own if p.attack is None and p.measure == "key-agreement"]
    series = (
        [Series("keys agree (owners)", tuple(Point(p.subject, p.value) for p in agreed))] if agreed else []
    )
    for one in found:
        odds = [
            p
            for p in own
            if p.attack == one.attack and p.measure == "success-odds" and p.budget is not None
        ]
        # One budget per adversary: the largest at which subjects still differ, else the smallest.
        budgets = sorted({p.budget for p in odds if p.budget is not None})
        telling = [b for b in budgets if len({p.value for p in odds if p.budget == b}) > 1]
        if budgets:
            budget = telling[-1] if telling else budgets[0]
            points = tuple(Point(p.subject, p.value) for p in odds if p.budget == budget)
            label = f"{clean(one.attack)} at {budget_text(budget)}"
            series.append(Series(label, points, one.verdict.tone == "alarm"))
    return Figure(
        "people",
        f"people-{number}",
        f"{clean(scheme)}: subject by subject",
        "Top: share of each subject's attempts in which the owners' keys agree. Below: odds of success "
        "against each "
        "subject, at the largest number of guesses at which subjects differ. Subjects of equal value "
        "share a mark.",
        tuple(series),
    )
