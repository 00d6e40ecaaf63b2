"""Collects the rows of one scheme, or of one adversary against it."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators import means
from harness.results import PerSubject, Row, measured, unmeasured

__all__ = ["Rows"]


class Rows:
    """Collects rows of one scheme (and attack)."""

    def __init__(self, scheme: str, attack: str | None, data: str) -> None:
        self.scheme, self.attack, self.data = scheme, attack, data
        self.rows: list[Row] = []
        self.per_subject: list[PerSubject] = []

    def add(
        self, measure: str, estimate: Estimate, budget: int | None = None, reason: str | None = None
    ) -> None:
        self.rows.append(
            measured(
                estimate,
                scheme=self.scheme,
                attack=self.attack,
                measure=measure,
                data=self.data,
                budget=budget,
                reason=reason,
            )
        )

    def skip(
        self, measure: str, unit: str, reason: str, status: str = "untested", method: str = "none"
    ) -> None:
        self.rows.append(
            unmeasured(
                status,
                reason,
                scheme=self.scheme,
                attack=self.attack,
                measure=measure,
                unit=unit,
                data=self.data,
                method=method,
            )
        )

    def people(self, measure: str, values: Array, subject: Array, budget: int | None = None) -> None:
        """Each subject's mean, for comparing the same people twice."""
        for person, value, size in zip(*means.subject_means(values, subject), strict=True):
            if np.isfinite(value):
                self.per_subject.append(
                    PerSubject(
                        scheme=self.scheme,
                        attack=self.attack,
                        measure=measure,
                        budget=budget,
                        subject=int(person),
                        value=float(value),
                        attempts=int(size),
                    )
                )
