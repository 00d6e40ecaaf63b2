"""The rows of a result: cells of the table, values of single subjects, findings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

__all__ = ["COLUMNS", "SEVERITIES", "STATUSES", "VERSION", "Finding", "PerSubject", "Row"]

VERSION = 1
STATUSES = ("measured", "untested", "not-applicable", "failed")
SEVERITIES = ("note", "low", "medium", "high", "critical")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measured, untested, not applicable or failed cell of the result table.

    Its key is (scheme, attack, measure, budget, unit, method); `attack` None is the honest
    pair. Numbers of an unmeasured cell, and the open end of a one-sided limit, are None.
    """

    scheme: str
    attack: str | None
    measure: str
    budget: int | None
    value: float | None
    low: float | None
    high: float | None
    level: float | None
    unit: str
    side: str | None
    evidence: str | None
    data: str
    subjects: int
    attempts: int
    method: str
    status: str
    reason: str | None

    def __post_init__(self) -> None:
        if self.status not in STATUSES:
            raise ValueError(f"`status` must be one of {', '.join(STATUSES)}, got {self.status!r}")
        numbers = (self.value, self.low, self.high, self.level)
        if not all(n is None or math.isfinite(n) for n in numbers):
            raise ValueError(f"numbers of a row must be finite or None, got {numbers}")


COLUMNS = tuple(Row.__dataclass_fields__)


@dataclass(frozen=True, slots=True, kw_only=True)
class PerSubject:
    """One subject's value of a measure that gates pair on."""

    scheme: str
    attack: str | None
    measure: str
    budget: int | None
    subject: int
    value: float
    attempts: int

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"`value` must be finite, got {self.value}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something a reviewer must know; "flagged" means medium or more."""

    id: str
    severity: str
    scheme: str
    attack: str | None
    text: str
    details: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.severity not in SEVERITIES:
            raise ValueError(f"`severity` must be one of {', '.join(SEVERITIES)}, got {self.severity!r}")
