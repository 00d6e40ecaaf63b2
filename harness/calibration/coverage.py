"""Do intervals hold the truth as often as they say, truth by truth and kind by kind?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from scipy.stats import binom

from harness.calibration.cases import Case
from harness.calibration.counts import FAMILY, by_case, limits, worked
from harness.calibration.lines import CoverageLine, Reading, Trial, TruthLine
from harness.calibration.model import Truth
from harness.calibration.power import kind_can_be_too_narrow
from harness.estimators.multiple import holm

__all__ = ["coverage_lines", "truth_lines"]

Kind = tuple[str, str, int | None, str, str, float]


def truth_lines(cases: Sequence[Case], trials: Sequence[Trial]) -> list[TruthLine]:
    """Each truth beside what was measured, over all seeds; too few intervals that hold it are a miss.

    Its p-value is exact: audits under different seeds share nothing.
    """
    own = by_case(trials)
    lines = [
        _truth_line(case.name, truth, [t.readings[k] for t in worked(own[case.name])], len(own[case.name]))
        for case in cases
        for k, truth in enumerate(case.control.truths)
    ]
    tested = [i for i, line in enumerate(lines) if line.p is not None]
    adjusted = holm([lines[i].p or 0.0 for i in tested])
    for i, p in zip(tested, adjusted.tolist(), strict=True):
        lines[i] = replace(lines[i], p=p, missed=p <= FAMILY)
    return lines


def _truth_line(case: str, truth: Truth, readings: Sequence[Reading], trials: int) -> TruthLine:
    told = [r for r in readings if r.problem is None]
    first = told[0] if told else None
    inside = sum(bool(r.inside) for r in told)
    levels = [r.level for r in told if r.level is not None]
    return TruthLine(
        case=case,
        attack=truth.attack,
        measure=truth.measure,
        budget=truth.budget,
        method=truth.method if first is None else first.method,
        unit=truth.unit if first is None else first.unit,
        side=None if first is None else first.side,
        bound=truth.bound,
        truth=truth.value,
        source=truth.source,
        mean=float(np.mean([r.value for r in told])) if told else None,
        level=min(levels, default=None),
        inside=inside,
        measured=len(told),
        trials=trials,
        p=float(binom.cdf(inside, len(told), min(levels))) if told else None,
        missed=False,
    )


def coverage_lines(cases: Sequence[Case], trials: Sequence[Trial]) -> list[CoverageLine]:
    """Coverage of each kind of interval: measure, method, budget, unit, level, and how the truth is known.

    Bounds stand apart: an interval has to reach them only, which it may do more often than it says.
    """
    kinds: dict[Kind, dict[tuple[str, int], list[bool]]] = {}
    for name, repetition, kind, inside in _told(cases, trials):
        kinds.setdefault(kind, {}).setdefault((name, repetition), []).append(inside)
    ordered = sorted(kinds.items(), key=lambda item: (*item[0][:2], item[0][2] or 0, *item[0][3:]))
    return [_coverage_line(kind, list(audits.values()), len(kinds)) for kind, audits in ordered]


def _told(cases: Sequence[Case], trials: Sequence[Trial]) -> Iterator[tuple[str, int, Kind, bool]]:
    truths = {case.name: case.control.truths for case in cases}
    for trial in worked(trials):
        for truth, said in zip(truths[trial.case], trial.readings, strict=True):
            if said.problem is None:
                kind = (
                    truth.measure, said.method or "", truth.budget, said.unit or "", truth.bound,
                    said.level or 0.0,
                )  # fmt: skip
                yield trial.case, trial.repetition, kind, bool(said.inside)


def _coverage_line(kind: Kind, audits: Sequence[Sequence[bool]], kinds: int) -> CoverageLine:
    measure, method, budget, unit, bound, nominal = kind
    hits = float(sum(np.mean(audit) for audit in audits))
    low, high = limits(hits, len(audits))
    at_least, at_most = limits(hits, len(audits), level=1 - 2 * FAMILY / kinds)
    return CoverageLine(
        measure=measure,
        method=method,
        budget=budget,
        unit=unit,
        bound=bound,
        nominal=nominal,
        covered=sum(sum(audit) for audit in audits),
        readings=sum(len(audit) for audit in audits),
        audits=len(audits),
        share=hits / len(audits),
        low=low,
        high=high,
        at_most=at_most,
        verdict=_verdict(at_least, at_most, nominal, kind_can_be_too_narrow(len(audits), nominal, kinds)),
    )


def _verdict(at_least: float, at_most: float, nominal: float, can_be_faulted: bool) -> str:
    if at_most < nominal:
        return "too narrow"
    if at_least > nominal:
        return "conservative"
    return "as said" if can_be_faulted else "too few"
