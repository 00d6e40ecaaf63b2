"""What a calibration finds, line by line: plain data, ready for JSON and for reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = [
    "AlarmLine",
    "Alarms",
    "CaseLine",
    "ChanceLine",
    "CoverageLine",
    "DetectionLine",
    "Reading",
    "RuleLine",
    "Trial",
    "Trouble",
    "TruthLine",
    "VerdictLine",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseLine:
    """One thing that was audited again and again.

    `role`: "control", "planted" or "twin"; `flaw` names the flaw of the last two. `attacks` counts them.
    """

    name: str
    role: str
    flaw: str | None
    sound: bool
    summary: str
    met: str | None
    attacks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one audit says of one truth; numbers None and `problem` set where it says nothing.

    `inside`: does the interval hold the truth, or reach it where the truth is a bound?
    """

    value: float | None
    low: float | None
    high: float | None
    level: float | None
    side: str | None
    method: str | None
    unit: str | None
    attempts: int
    inside: bool | None
    problem: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One audit: the findings of severity medium or more, a reading for each truth, or why it failed."""

    case: str
    repetition: int
    seed: int
    flagged: tuple[str, ...]
    readings: tuple[Reading, ...]
    failure: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """A reason for which trials failed, or told nothing of a truth, and in how many."""

    case: str
    text: str
    trials: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthLine:
    """A truth beside what was measured.

    `mean` is that of the values; `inside` of `measured` intervals hold the truth, each meant to do so with
    chance `level`. `p` is the chance of so few if they did, corrected for the number of truths.
    """

    case: str
    attack: str | None
    measure: str
    budget: int | None
    method: str | None
    unit: str | None
    side: str | None
    bound: str
    truth: float
    source: str
    mean: float | None
    level: float | None
    inside: int
    measured: int
    trials: int
    p: float | None
    missed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageLine:
    """Intervals of one kind, over all cases and seeds.

    `covered` of `readings` intervals hold the truth. Readings of one audit depend on each other, so the
    audit is the unit: `share` is the mean over `audits`, [`low`, `high`] its exact 95 % interval, and
    `at_most` its upper limit corrected for the number of kinds. `verdict`: "as said" (nothing speaks
    against the nominal level), "conservative", "too narrow", or "too few" (audits: not even intervals that
    never hold the truth would be faulted).
    """

    measure: str
    method: str
    budget: int | None
    unit: str
    bound: str
    nominal: float
    covered: int
    readings: int
    audits: int
    share: float
    low: float
    high: float
    at_most: float
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionLine:
    """In how many trials a flaw was found, and by what.

    `found_by` empty: any finding will do. `counts` holds, for each finding, in how many trials it
    appeared. `at_least` is the exact lower limit of the chance to find it, one-sided at 95 %, for this
    flaw by itself. A failed trial found nothing.
    """

    case: str
    met: str | None
    found: int
    trials: int
    at_least: float
    found_by: tuple[str, ...]
    counts: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmLine:
    """How often something sound was flagged; `p`: the chance of so many, corrected for all cases."""

    case: str
    flagged: int
    trials: int
    counts: Mapping[str, int]
    p: float
    noisy: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleLine:
    """How often one kind of rule flagged something sound, against its share of the promise.

    `counts` holds the audits that each finding of this kind appeared in. The kind "certain" are rules that
    cannot flag anything sound, with no share. `p` is the chance of so many, corrected for the number of
    kinds.
    """

    kind: str
    counts: Mapping[str, int]
    flagged: int
    trials: int
    share: float
    p: float
    noisy: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarms:
    """All false alarms, with an exact 95 % interval; `allowed` is the most that the promise allows."""

    flagged: int
    trials: int
    low: float
    high: float
    promise: float
    allowed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanceLine:
    """What an adversary who looks at somebody else gets with one guess, over all seeds, against chance.

    [`low`, `high`] is an exact 95 % interval; `p` two-sided, corrected for the number of adversaries.
    """

    case: str
    attack: str
    hits: float
    attempts: int
    odds: float
    low: float
    high: float
    chance: float
    p: float
    off: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictLine:
    """What one promise came to; `holds` None: nothing was run that could tell."""

    id: str
    holds: bool | None
    text: str
