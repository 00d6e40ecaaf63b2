"""What a gate says: one comparison a metric, and the verdict over all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["OUTCOMES", "Comparison", "Metric", "Verdict"]

OUTCOMES = ("pass", "fail", "undecided", "unresolved")


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Metric:
    """What is compared: the key of a row without the scheme's name.

    `scheme` is "" where both results hold one scheme, so that a renaming is no change; `attack` is ""
    for the honest pair; `budget` is 0 where there is none.
    """

    scheme: str
    attack: str
    measure: str
    budget: int

    def __str__(self) -> str:
        budget = ""
        if self.budget:
            shown = self.budget
            power = shown.bit_length() - 1
            budget = f" at 2^{power}" if shown >= 1024 and shown == 1 << power else f" at {shown}"
        return " ".join(w for w in (self.scheme, self.attack or "honest pair", self.measure) if w) + budget


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One metric of a candidate beside the same metric of what it is held against.

    Attributes
    ----------
    metric : Metric
    against : str
        "baseline", "anchor" or "old".
    old, new : float or None
        Means over the paired people, unrounded. None: not measured on that side.
    unit, scale : str
        Scale of the margin: "difference", "ratio" or "odds-ratio".
    worse : float or None
        How much worse the candidate is, on the scale of the margin: a difference in `unit`, or a factor.
        Positive differences and factors above 1 are harm, whichever way the measure points.
    limit : float or None
        One-sided upper limit of `worse`, at the level of passes. It bounds harm from above.
    margin : float
        What `limit` must stay below.
    detectable : float or None
        The smallest harm that these people could have shown, on the same scale.
    p : float or None
        Chance of harm this large if nothing had got worse; `adjusted` after Holm over all metrics.
    people : int
        Paired subjects.
    identical : bool
        The replayed streams are equal attempt by attempt, so nothing can have changed.
    better : bool
        The candidate is better by more than the margin, and significantly so.
    outcome, reason : str
        One of `OUTCOMES`, and why.
    """

    metric: Metric
    against: str
    old: float | None
    new: float | None
    unit: str
    scale: str
    worse: float | None
    limit: float | None
    margin: float
    detectable: float | None
    p: float | None
    adjusted: float | None
    people: int
    identical: bool
    better: bool
    outcome: str
    reason: str

    def __post_init__(self) -> None:
        if self.outcome not in OUTCOMES:
            raise ValueError(f"`outcome` must be one of {', '.join(OUTCOMES)}, got {self.outcome!r}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The gate's answer.

    Attributes
    ----------
    outcome : str
        "pass", "fail" or "undecided". "unresolved" metrics are listed and decide nothing.
    comparisons : sequence of Comparison
        Against the baseline first, then against the anchor; sorted by metric.
    notices : sequence of str
        What a reader must know beside the numbers: other versions, an edited baseline, slack.
    level : float
        Family-wise level at which an increase fails.
    candidate, held_against : str
        What was compared, in words.
    """

    outcome: str
    comparisons: Sequence[Comparison]
    notices: Sequence[str]
    level: float
    candidate: str
    held_against: str

    def __post_init__(self) -> None:
        if self.outcome not in OUTCOMES[:3]:
            raise ValueError(f"`outcome` must be pass, fail or undecided, got {self.outcome!r}")

    def of(self, outcome: str) -> list[Comparison]:
        """The comparisons with this outcome, in order."""
        return [c for c in self.comparisons if c.outcome == outcome]
