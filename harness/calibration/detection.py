"""Which planted flaws are found, how often, and by what."""

from __future__ import annotations

from collections.abc import Sequence

from harness.calibration.cases import Case
from harness.calibration.counts import WRONG, by_case, counted, limits, worked
from harness.calibration.lines import DetectionLine, Trial

__all__ = ["at_least_all", "detection_lines"]


def detection_lines(cases: Sequence[Case], trials: Sequence[Trial]) -> list[DetectionLine]:
    """Every case that must be flagged, flaws first; a flaw is found only by a finding that names it.

    An unsound control without a twin names none: whatever flags it is right.
    """
    own = by_case(trials)
    ordered = sorted((case for case in cases if not case.control.sound), key=lambda case: case.flaw is None)
    return [_line(case, own[case.name]) for case in ordered]


def at_least_all(lines: Sequence[DetectionLine]) -> float:
    """The least of the lower limits that hold for all lines at once, with 95 %: each at .05 / lines.

    Raises
    ------
    ValueError
        If there is no line.
    """
    if not lines:
        raise ValueError("`lines` must hold one flaw at least, got none")
    level = 1 - 2 * WRONG / len(lines)
    return min(limits(line.found, line.trials, level=level)[0] for line in lines)


def _line(case: Case, trials: Sequence[Trial]) -> DetectionLine:
    right = frozenset() if case.flaw is None else case.flaw.found_by
    told = worked(trials)
    found = sum(bool(right.intersection(t.flagged) if right else t.flagged) for t in told)
    return DetectionLine(
        case=case.name,
        met=None if case.flaw is None else case.flaw.met,
        found=found,
        trials=len(trials),
        at_least=limits(found, len(trials), level=1 - 2 * WRONG)[0],
        found_by=tuple(sorted(right)),
        counts=counted(told),
    )
