"""What a corpus of this size could show: the smallest odds, and the largest leak that could stay hidden."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Estimate
from harness.errors import InsufficientData
from harness.estimators.leakage.detection import detectable_information
from harness.estimators.proportion import clustered_rate, subject_rate

__all__ = ["Resolution", "resolution"]

SIDE = "attacker-at-least"


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolution:
    """All at 95 %, one-sided; None where nobody is there, or nothing could be shown."""

    odds: Estimate | None  # of an attempt, its `high`: had no attempt succeeded
    people: Estimate | None  # of a person: had nobody's key been found
    leak_attempts: float | None  # bits of a fair bit, if attempts were independent: at best
    leak_subjects: float | None  # the same with one attempt of each person: at worst


def resolution(subjects: Sequence[int]) -> Resolution:
    """Return what could be shown by attempts of these subjects, one entry an attempt."""
    subject = np.asarray(subjects, dtype=np.int64)
    nothing = np.zeros(len(subject))
    if len(subject) == 0:
        return Resolution(odds=None, people=None, leak_attempts=None, leak_subjects=None)
    return Resolution(
        odds=clustered_rate(nothing, nothing, subject, side=SIDE),
        people=subject_rate(nothing, subject, side=SIDE),
        leak_attempts=_leak(len(subject)),
        leak_subjects=_leak(len(np.unique(subject))),
    )


def _leak(trials: int) -> float | None:
    try:
        return detectable_information(trials)
    except InsufficientData:
        return None
