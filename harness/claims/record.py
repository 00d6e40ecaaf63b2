"""What judging claims leaves behind: plain data, ready for JSON and for reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from harness.rows import Row

__all__ = [
    "OUTCOMES",
    "ClaimsRecord",
    "Judgement",
    "OpenThreat",
    "Rated",
    "RequirementRecord",
    "Support",
    "Used",
    "worst",
]

OUTCOMES = ("shown", "withstood", "undecided", "untested", "refuted")
"""Best first. "withstood": nothing that was tried exceeded the threshold, on this corpus."""


def worst(outcomes: list[str]) -> str:
    """The worst of some outcomes; "untested" if there is none.

    Examples
    --------
    >>> worst(["shown", "untested", "withstood"]), worst(["untested", "refuted"]), worst([])
    ('untested', 'refuted', 'untested')
    """
    return max(outcomes, key=OUTCOMES.index, default="untested")


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """A row of the result, and what it was used for.

    `role`: "holds" (its limit must keep the threshold), "breaks" (its limit may refute), "both", or
    "weak-people" (the share of people whose key was found bounds lifetime odds from below).
    """

    role: str
    row: Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """What one attack, or the honest pair, says about a claim.

    Attributes
    ----------
    attack : str or None
        None: the honest pair.
    rows : tuple of Used
        Empty where nothing was measured.
    lower, upper : float or None
        One-sided limits that were compared with the threshold, unrounded. None: the rows give none.
    holds_at, breaks_at : float
        Confidence of the limit that must keep the threshold, and of the one that refutes, which is
        corrected for the number of tests.
    outcome : str
        One of `OUTCOMES`: what this alone comes to.
    why : str
    """

    attack: str | None
    rows: tuple[Used, ...]
    lower: float | None
    upper: float | None
    holds_at: float
    breaks_at: float
    outcome: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The outcome of one claim on one scheme.

    `says` is the claim in words, `text` the outcome in words, `decides` what would decide it if it is
    undecided, `left_out` the attacks that the claim does not cover because they are out of scope or the
    measure has no meaning for them, with the reason.
    """

    claim: str
    scheme: str
    requirement: str | None
    says: str
    outcome: str
    text: str
    decides: str | None
    supports: tuple[Support, ...]
    left_out: tuple[str, ...]
    rationale: str | None
    owner: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RequirementRecord:
    """A requirement, the claims that answer to it, and the worst of their outcomes.

    `evidence` is False where there is no claim, or all of them are untested.
    """

    id: str
    text: str
    owner: str | None
    claims: tuple[str, ...]
    outcome: str
    evidence: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenThreat:
    """A threat that the audit says nothing about; `scoped_out` holds the reason why that is accepted."""

    threat: str
    why: str
    scoped_out: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rated:
    """The attack potential that an attack asks for."""

    attack: str
    points: int
    band: str
    factors: Mapping[str, str]
    rationale: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimsRecord:
    """All that judging claims found.

    Attributes
    ----------
    claims : mapping
        The claims in force, presets written out, as JSON-ready data.
    use : str
        What the key is for, in words, and whether that was declared.
    judgements : tuple of Judgement
        One for each claim and scheme.
    requirements : tuple of RequirementRecord
    open_threats : tuple of OpenThreat
        All that the audit left open, those out of scope included.
    out_of_scope : mapping of str to str
        Threat and reason, as declared.
    potential : tuple of Rated
    """

    claims: Mapping[str, Any]
    use: str
    judgements: tuple[Judgement, ...]
    requirements: tuple[RequirementRecord, ...]
    open_threats: tuple[OpenThreat, ...]
    out_of_scope: Mapping[str, str]
    potential: tuple[Rated, ...]

    @property
    def without_evidence(self) -> list[str]:
        """Requirements that nothing measured answers to."""
        return [r.id for r in self.requirements if not r.evidence]

    @property
    def threats_left(self) -> list[OpenThreat]:
        """Open threats that nobody declared out of scope."""
        return [t for t in self.open_threats if t.scoped_out is None]
