"""How often something sound is flagged: in all, case by case, and finding by finding."""

from __future__ import annotations

from collections.abc import Sequence

from harness.calibration.cases import Case
from harness.calibration.counts import allowed, at_least_so_many, by_case, counted, limits, worked
from harness.calibration.lines import AlarmLine, Alarms, RuleLine, Trial
from harness.estimators.multiple import holm
from harness.findings import FAMILY_LEVEL, SHARE

__all__ = ["FAMILY", "alarm_lines", "alarms_in_all", "rule_lines"]

FAMILY = 0.01
"""Chance that rules which keep their promise are faulted: among cases, and again among findings."""


def alarm_lines(cases: Sequence[Case], trials: Sequence[Trial]) -> list[AlarmLine]:
    """Every sound control and twin; trials that failed are left out, as they could not have been flagged.

    One case flagged again and again may hide among many quiet ones, so each is tested by itself too.
    """
    own = by_case(trials)
    told = [(case.name, worked(own[case.name])) for case in cases if case.control.sound]
    hits = [sum(bool(t.flagged) for t in mine) for _, mine in told]
    chances = [
        at_least_so_many(k, len(mine), FAMILY_LEVEL) for k, (_, mine) in zip(hits, told, strict=True)
    ]
    return [
        AlarmLine(
            case=name,
            flagged=k,
            trials=len(mine),
            counts=counted(mine),
            p=p,
            noisy=p <= FAMILY,
        )
        for (name, mine), k, p in zip(told, hits, holm(chances).tolist(), strict=True)
    ]


def alarms_in_all(lines: Sequence[AlarmLine]) -> Alarms | None:
    """All sound audits together against the promise; None if there were none."""
    flagged, trials = sum(line.flagged for line in lines), sum(line.trials for line in lines)
    if not trials:
        return None
    low, high = limits(flagged, trials)
    return Alarms(
        flagged=flagged,
        trials=trials,
        low=low,
        high=high,
        promise=FAMILY_LEVEL,
        allowed=allowed(trials, FAMILY_LEVEL),
    )


def rule_lines(cases: Sequence[Case], trials: Sequence[Trial]) -> list[RuleLine]:
    """Each finding against the share of the promise that its kind of test has.

    Findings that share a kind have less each, so this is the mildest reading. The family are the findings
    that any trial shows or any flaw names, so that what is tested does not hang on the alarms alone.
    """
    sound = {case.name for case in cases if case.control.sound}
    told = [t for t in worked(trials) if t.case in sound]
    named = {id for case in cases if case.flaw is not None for id in case.flaw.found_by}
    ids = sorted(named | {id for trial in trials for id in trial.flagged})
    hits = [sum(id in trial.flagged for trial in told) for id in ids]
    adjusted = holm([at_least_so_many(k, len(told), SHARE) for k in hits]).tolist()
    return [
        RuleLine(id=id, flagged=k, trials=len(told), share=SHARE, p=p, noisy=p <= FAMILY)
        for id, k, p in zip(ids, hits, adjusted, strict=True)
    ]
