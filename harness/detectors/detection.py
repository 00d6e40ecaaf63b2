"""What one scheme-blind detector found."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Detection", "found", "untested"]

_SMALLEST = 1e-300  # no p-value is zero


@dataclass(frozen=True, slots=True, kw_only=True)
class Detection:
    """One detector's answer. Null hypothesis: keys are independent of everything, and uniform.

    Attributes
    ----------
    slug : str
        Name of the detector.
    p : float, optional
        Corrected for everything this detector looked at; never below the true chance under the null. None
        where it is untested.
    bits : float
        Of the key, given away to whoever knows what the text says: entropy that is missing. Side
        "attacker-at-least": a lower limit at 95 %, 0 where nothing is significant.
    text : str
        A sentence for the report; names the helper array or the key bits concerned.
    attempts, subjects : int
        That it rests on.
    untested, failed : str, optional
        Why there is no p-value: too little data, or the scheme broke its promise.
    """

    slug: str
    p: float | None = None
    bits: float = 0.0
    text: str = ""
    attempts: int = 0
    subjects: int = 0
    untested: str | None = None
    failed: str | None = None

    def __post_init__(self) -> None:
        if self.p is not None and not 0 < self.p <= 1:
            raise ValueError(f"`p` must lie in 0..1, without 0, got {self.p}")
        if (self.p is None) == (self.untested is None and self.failed is None):
            raise ValueError("a detection must have either a p-value or a reason why it has none")


def found(slug: str, p: float, text: str, *, bits: float, attempts: int, subjects: int) -> Detection:
    """A detection with its p-value brought into (0, 1] and its bits to at least 0."""
    return Detection(
        slug=slug,
        p=min(1.0, max(float(p), _SMALLEST)),
        bits=max(float(bits), 0.0),
        text=text,
        attempts=attempts,
        subjects=subjects,
    )


def untested(slug: str, reason: str) -> Detection:
    """A detector that had too little to look at."""
    return Detection(slug=slug, untested=reason)
