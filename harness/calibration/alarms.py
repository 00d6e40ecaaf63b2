"""How often something sound is flagged: in all, case by case, and rule by rule."""

from __future__ import annotations

from collections.abc import Sequence

from harness.calibration.cases import Case
from harness.calibration.counts import FAMILY, allowed, at_least_so_many, by_case, counted, limits, worked
from harness.calibration.lines import AlarmLine, Alarms, RuleLine, Trial
from harness.estimators.multiple import holm
from harness.rules import FAMILY_LEVEL, KINDS, RULES, SHARE

__all__ = ["CERTAIN", "alarm_lines", "alarms_in_all", "rule_lines"]

CERTAIN = "certain"


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
    """Each kind of rule against its share of the promise, over all sound audits.

    Rules that are certain have none: one alarm is too many. A finding that no rule here makes counts as a
    kind of its own.
    """
    sound = {case.name for case in cases if case.control.sound}
    told = [trial for trial in worked(trials) if trial.case in sound]
    count = counted(told)
    kinds: dict[str, list[str]] = {kind: [] for kind in (*KINDS, CERTAIN)}
    for id in count:
        kinds.setdefault(_kind(id), []).append(id)
    hits = [sum(bool(set(ids).intersection(t.flagged)) for t in told) for ids in kinds.values()]
    shares = [0.0 if kind == CERTAIN else SHARE for kind in kinds]
    chances = [at_least_so_many(k, len(told), share) for k, share in zip(hits, shares, strict=True)]
    return [
        RuleLine(
            kind=kind,
            counts={id: count[id] for id in ids},
            flagged=k,
            trials=len(told),
            share=share,
            p=p,
            noisy=p <= FAMILY,
        )
        for (kind, ids), k, share, p in zip(
            kinds.items(), hits, shares, holm(chances).tolist(), strict=True
        )
    ]


def _kind(id: str) -> str:
    rule = RULES.get(id)
    return id if rule is None else rule.kind or CERTAIN
