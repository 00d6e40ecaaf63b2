"""What so few audits can show: a promise that no outcome of them can break is untested, not kept."""

from __future__ import annotations

from collections.abc import Sequence

from scipy.stats import binom

from harness.calibration.counts import FAMILY, at_least_so_many, limits, two_sided
from harness.calibration.lines import AlarmLine, Alarms, ChanceLine, RuleLine, TruthLine
from harness.rules import FAMILY_LEVEL

__all__ = [
    "alarms_can_be_too_many",
    "below_chance_can_be_seen",
    "case_can_be_noisy",
    "fewest_hits_above_chance",
    "kind_can_be_too_narrow",
    "rule_can_be_noisy",
    "truths_that_can_be_missed",
]


def alarms_can_be_too_many(alarms: Alarms) -> bool:
    """Would it break the promise if every audit of something sound were flagged?"""
    return alarms.allowed < alarms.trials


def case_can_be_noisy(line: AlarmLine, cases: int) -> bool:
    """Would it be faulted if all its audits were flagged, and those of no other case?"""
    return at_least_so_many(line.trials, line.trials, FAMILY_LEVEL) * cases <= FAMILY


def rule_can_be_noisy(line: RuleLine, kinds: int) -> bool:
    """Would it be faulted if it flagged every audit, and no other kind any?"""
    return at_least_so_many(line.trials, line.trials, line.share) * kinds <= FAMILY


def kind_can_be_too_narrow(audits: int, nominal: float, kinds: int) -> bool:
    """Would intervals of a kind be faulted if none of them held the truth?"""
    return limits(0, audits, level=1 - 2 * FAMILY / kinds)[1] < nominal


def truths_that_can_be_missed(truths: Sequence[TruthLine]) -> int:
    """How many truths would be faulted if every interval of one missed it, and those of no other?

    Truths of which nothing was measured are no part of this.
    """
    levels = [(line.measured, line.level) for line in truths if line.measured and line.level is not None]
    return sum(float(binom.cdf(0, n, level)) * len(levels) <= FAMILY for n, level in levels)


def fewest_hits_above_chance(line: ChanceLine, adversaries: int) -> int | None:
    """From how many hits on would it be faulted if all others sit at chance? None: not even by all hits."""
    limit = FAMILY / (2 * adversaries)
    # the first count whose upper tail is no more than the limit
    least = int(binom.isf(limit, line.attempts, line.chance)) + 1
    return least if least <= line.attempts else None


def below_chance_can_be_seen(line: ChanceLine, adversaries: int) -> bool:
    """Would it be faulted if it hit nothing at all, and all others sit at chance?"""
    return two_sided(0, line.attempts, line.chance) * adversaries <= FAMILY
