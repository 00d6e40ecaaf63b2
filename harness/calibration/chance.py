"""Shuffled pairs: adversaries who look at somebody else must sit at chance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from harness.calibration.cases import Case
from harness.calibration.counts import FAMILY, by_case, limits, two_sided, worked
from harness.calibration.lines import ChanceLine, Reading, Trial
from harness.calibration.model import Truth
from harness.estimators.multiple import holm

__all__ = ["chance_lines", "is_shuffled"]


def is_shuffled(case: Case) -> bool:
    """Do its adversaries look at other people than their victims? Its corpus says so."""
    return getattr(case.control.corpus, "shuffled", False) is True


def chance_lines(cases: Sequence[Case], trials: Sequence[Trial]) -> list[ChanceLine]:
    """Each adversary's odds at one guess over all attempts of all seeds; the control's truth is chance.

    Attempts of such controls share nothing, and equally likely keys share a success, which varies less than
    a success does: the binomial errs towards silence.
    """
    own = by_case(trials)
    lines = []
    for case in filter(is_shuffled, cases):
        told = worked(own[case.name])
        for k, truth in enumerate(case.control.truths):
            readings = [t.readings[k] for t in told if t.readings[k].problem is None]
            if truth.measure == "success-odds" and truth.budget == 1 and readings:
                lines.append(_line(case.name, truth, readings))
    adjusted = holm([line.p for line in lines]).tolist()
    return [replace(line, p=p, off=p <= FAMILY) for line, p in zip(lines, adjusted, strict=True)]


def _line(case: str, truth: Truth, readings: Sequence[Reading]) -> ChanceLine:
    attempts = sum(r.attempts for r in readings)
    hits = sum((r.value or 0.0) * r.attempts for r in readings)
    low, high = limits(hits, attempts)
    return ChanceLine(
        case=case,
        attack=truth.attack or "honest pair",
        hits=hits,
        attempts=attempts,
        odds=hits / attempts,
        low=low,
        high=high,
        chance=truth.value,
        p=two_sided(hits, attempts, truth.value),
        off=False,
    )
