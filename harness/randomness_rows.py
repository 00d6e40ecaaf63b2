"""The keys of a scheme under the fifteen tests of randomness, which is not secrecy."""

from __future__ import annotations

import numpy as np

from harness.collecting import Rows
from harness.contracts import Array, Estimate
from harness.estimators.multiple import holm
from harness.estimators.randomness.suite import TESTS, p_values

__all__ = ["MEASURE", "randomness_rows"]

MEASURE = "randomness"


def randomness_rows(table: Rows, keys: Array, subject: Array) -> None:
    """A row for every test, corrected for all of them.

    Parameters
    ----------
    table : Rows
    keys : (attempts, key_bits) uint8
        Of all attempts that established one, in their order, so that a subject's keys stand together: what
        repeats within a person shows, and what makes one person's keys unlike another's does not.
    subject : (attempts,) int
    """
    found, skipped = p_values(keys.reshape(1, -1)) if keys.size else ({}, dict.fromkeys(TESTS, "no key"))
    # the least of a test's outcomes, corrected for them, then for all tests
    least = {name: min(1.0, float(np.nanmin(p)) * np.sum(~np.isnan(p))) for name, p in found.items()}
    adjusted = dict(zip(least, holm(list(least.values())), strict=True))
    for name in TESTS:
        if name in skipped:
            table.skip(MEASURE, "p-value", skipped[name], method=name)
            continue
        p = float(adjusted[name])
        estimate = Estimate(
            value=p,
            low=p,
            high=p,
            level=0.95,
            unit="p-value",
            side="estimate",
            evidence="counted",
            subjects=len(np.unique(subject)),
            attempts=len(keys),
            method=name,
        )
        table.add(MEASURE, estimate, reason="randomness is not secrecy; corrected for all tests")
