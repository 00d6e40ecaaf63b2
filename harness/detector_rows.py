"""Rows of the scheme-blind detectors: is the key tied to anything that it should not be tied to?"""

from __future__ import annotations

from typing import Any

from harness.collecting import Rows
from harness.contracts import Estimate
from harness.detectors import Detection, adjusted, detect
from harness.exchange import Honest

__all__ = ["MEASURE", "detector_rows"]

MEASURE = "blind-detector"


def detector_rows(table: Rows, scheme: Any, honest: Honest, *, seed: int) -> list[Detection]:
    """Add a row for every detector, with its p-value corrected for all of them.

    Parameters
    ----------
    table : Rows
        Of the scheme, without an attack.
    scheme : Scheme or Interactive
        Runs again, on copies.
    honest : Honest
    seed : int

    Returns
    -------
    list of Detection
        As in the rows, for the findings.
    """
    found = adjusted(detect(scheme, honest, seed=seed))
    for detection in found:
        if detection.p is None:
            status = "failed" if detection.failed else "untested"
            reason = str(detection.failed or detection.untested)
            table.skip(MEASURE, "p-value", reason, status=status, method=detection.slug)
            continue
        estimate = Estimate(
            value=detection.p,
            low=detection.p,
            high=detection.p,
            level=0.95,
            unit="p-value",
            side="estimate",
            evidence="counted",
            subjects=detection.subjects,
            attempts=detection.attempts,
            method=detection.slug,
        )
        table.add(MEASURE, estimate, reason=f"{detection.text}; corrected for all detectors")
    return found
