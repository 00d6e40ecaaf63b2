"""What the promises came to, one line each."""

from __future__ import annotations

from collections.abc import Sequence

from harness.calibration.detection import at_least_all
from harness.calibration.lines import (
    AlarmLine,
    Alarms,
    ChanceLine,
    CoverageLine,
    DetectionLine,
    RuleLine,
    Trouble,
    TruthLine,
    VerdictLine,
)
from harness.calibration.power import (
    alarms_can_be_too_many,
    below_chance_can_be_seen,
    case_can_be_noisy,
    fewest_hits_above_chance,
    kind_can_be_too_narrow,
    rule_can_be_noisy,
    truths_that_can_be_missed,
)

__all__ = [
    "alarms_verdict",
    "chance_verdict",
    "coverage_verdict",
    "found_verdict",
    "noise_verdict",
    "trials_verdict",
]

_NAMED = 4  # names in a line
_FEW = "too few audits to tell"


def trials_verdict(troubles: Sequence[Trouble], trials: int) -> VerdictLine:
    """Did every trial run, and was every truth measured?"""
    if not troubles:
        return VerdictLine(id="trials", holds=True, text=f"all {trials} audits ran and told of every truth")
    names = _names([t.case for t in troubles])
    text = f"audits failed, or told nothing of a truth, and are not counted: {names}"
    return VerdictLine(id="trials", holds=False, text=text)


def found_verdict(lines: Sequence[DetectionLine]) -> VerdictLine:
    """Was every flaw found in every trial?"""
    if not lines:
        return VerdictLine(id="found", holds=None, text="nothing unsound was audited")
    missed = [line for line in lines if line.found < line.trials]
    if missed:
        told = _names([f"{line.case} ({line.found} of {line.trials})" for line in missed])
        text = f"{len(lines) - len(missed)} of {len(lines)} found in every audit; not so {told}"
        return VerdictLine(id="found", holds=False, text=text)
    least = min(line.at_least for line in lines)
    text = (
        f"all {len(lines)} found in every audit of them; each by itself is found with a chance of at least "
        f"{least:.2f}, all at once with at least {at_least_all(lines):.2f} each (exact lower limits, 95 %)"
    )
    return VerdictLine(id="found", holds=True, text=text)


def alarms_verdict(alarms: Alarms | None) -> VerdictLine:
    """Is something sound flagged no oftener than the promise allows? None where any number is allowed."""
    if alarms is None:
        return VerdictLine(id="alarms", holds=None, text="nothing sound was audited")
    if not alarms_can_be_too_many(alarms):
        text = (
            f"{_FEW}: {alarms.flagged} of {alarms.trials} of something sound flagged it, and all might, "
            f"at a chance of {alarms.promise:g} each"
        )
        return VerdictLine(id="alarms", holds=None, text=text)
    text = (
        f"{alarms.flagged} of {alarms.trials} audits of something sound flagged it, at most "
        f"{alarms.allowed} allowed; the chance lies in {alarms.low:.4f}..{alarms.high:.4f} (exact, 95 %), "
        f"promised is at most {alarms.promise:g}"
    )
    return VerdictLine(id="alarms", holds=alarms.flagged <= alarms.allowed, text=text)


def noise_verdict(cases: Sequence[AlarmLine], rules: Sequence[RuleLine]) -> VerdictLine:
    """Is one sound case, or one kind of rule, far above its share of false alarms?

    None where no case, and no kind that has a share, could be. Rules that are certain can always be
    faulted: their silence alone does not keep this promise.
    """
    if not any(line.trials for line in cases):
        return VerdictLine(id="noise", holds=None, text="nothing sound was audited")
    noisy = [f"{line.case} ({line.flagged} of {line.trials})" for line in cases if line.noisy]
    noisy += [
        f"rules of the kind {line.kind} ({line.flagged} of {line.trials})" for line in rules if line.noisy
    ]
    if noisy:
        return VerdictLine(id="noise", holds=False, text=f"too many false alarms: {_names(noisy)}")
    shared = [line for line in rules if line.share]
    able = sum(case_can_be_noisy(line, len(cases)) for line in cases)
    able_rules = sum(rule_can_be_noisy(line, len(rules)) for line in shared)
    if not able + able_rules:
        return VerdictLine(id="noise", holds=None, text=f"{_FEW}: no number of alarms would be too many")
    few = _few([(able, len(cases), "cases"), (able_rules, len(shared), "kinds of rules")])
    return VerdictLine(id="noise", holds=True, text=f"no case and no kind of rule stands out{few}")


def coverage_verdict(kinds: Sequence[CoverageLine], truths: Sequence[TruthLine]) -> VerdictLine:
    """Does every kind of interval hold the truth as often as it says, and every truth by itself?

    None where neither a kind nor a truth would be faulted if every interval missed.
    """
    if not kinds:
        return VerdictLine(id="coverage", holds=None, text="no interval was compared with a truth")
    narrow = [f"{line.measure} by {line.method}" for line in kinds if line.verdict == "too narrow"]
    missed = [
        f"{line.measure} of {line.attack or 'the honest pair'} in {line.case} ({line.inside} of "
        f"{line.measured})"
        for line in truths
        if line.missed
    ]
    if narrow or missed:
        text = f"too narrow: {_names(narrow) or 'no kind'}; truths missed: {_names(missed) or 'none'}"
        return VerdictLine(id="coverage", holds=False, text=text)
    covered, readings = sum(k.covered for k in kinds), sum(k.readings for k in kinds)
    held = f"{covered} of {readings} intervals hold the truth"
    able = sum(kind_can_be_too_narrow(x.audits, x.nominal, len(kinds)) for x in kinds)
    told, able_truths = sum(line.p is not None for line in truths), truths_that_can_be_missed(truths)
    if not able + able_truths:
        return VerdictLine(id="coverage", holds=None, text=f"{_FEW}: {held}, and all might miss it")
    few = _few([(able, len(kinds), "kinds"), (able_truths, told, "truths")])
    text = f"{held}; none of {len(kinds)} kinds is shown to cover less than it says{few}"
    return VerdictLine(id="coverage", holds=True, text=text)


def chance_verdict(lines: Sequence[ChanceLine]) -> VerdictLine:
    """Do adversaries who look at somebody else sit at chance?

    Says from how many hits on one would have been faulted, and whether too few could have been seen; None
    where neither could.
    """
    if not lines:
        return VerdictLine(id="chance", holds=None, text="no shuffled pairs were audited")
    off = [f"{line.attack} in {line.case}" for line in lines if line.off]
    if off:
        return VerdictLine(id="chance", holds=False, text=f"not at chance on shuffled pairs: {_names(off)}")
    above = [(fewest_hits_above_chance(line, len(lines)), line) for line in lines]
    able = [(least, line) for least, line in above if least is not None]
    below = sum(below_chance_can_be_seen(line, len(lines)) for line in lines)
    if not able and not below:
        return VerdictLine(id="chance", holds=None, text=f"{_FEW}: no number of hits would be off chance")
    text = f"none of {len(lines)} adversaries of shuffled pairs is shown to be off chance"
    if able:
        # of the adversaries that could be faulted, the one that would have been let off the longest
        least, line = max(able, key=lambda pair: pair[0] / pair[1].attempts / pair[1].chance)
        text += (
            f"; above it, each by itself would be seen from {least} hits of {line.attempts} on at the "
            f"latest, where chance gives {line.attempts * line.chance:.3g}"
        )
    none = f"; below it, {below or 'none'} of {len(lines)} could be seen"
    few = _few([(len(able), len(lines), "adversaries")])
    return VerdictLine(id="chance", holds=True, text=text + none + few)


def _few(counts: Sequence[tuple[int, int, str]]) -> str:
    """Of which sorts some have too few audits to be faulted: (those that can be, all, what they are)."""
    told = [f"{total - able} of {total} {what}" for able, total, what in counts if able < total]
    return f"; {' and '.join(told)} have too few audits to be faulted" if told else ""


def _names(names: Sequence[str]) -> str:
    different = list(dict.fromkeys(names))
    more = len(different) - _NAMED
    return ", ".join(different[:_NAMED]) + (f" and {more} more" if more > 0 else "")
