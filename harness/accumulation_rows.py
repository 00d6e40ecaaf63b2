"""Rows of several attempts: what their keys hold together, and how long a user tries."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from harness.collecting import Rows
from harness.contracts import Estimate
from harness.errors import InsufficientData
from harness.estimators.accumulation import estimated_joint_strength
from harness.estimators.retries import agreement_within, mean_tries, time_until_key
from harness.exchange import Honest

__all__ = ["ATTEMPTS", "TRIES", "accumulation_rows"]

ATTEMPTS = (1, 2, 4, 8)
"""Attempts whose keys are put together."""

TRIES = (2, 4)
"""Tries after which a user gives up."""


def accumulation_rows(table: Rows, honest: Honest, *, limit: float) -> None:
    """Add joint strength of several attempts, and agreement, number and time of several tries.

    Parameters
    ----------
    table : Rows
        Of the scheme, without an attack, which holds each person's `min-entropy` already; gets rows
        `joint-strength` for each of `ATTEMPTS`, `agreement-within` and `retries` for each of `TRIES`.
    honest : Honest
    limit : float
        Bits that are left of one key: no attempt holds more.
    """
    strengths = np.array([p.value for p in table.per_subject if p.measure == "min-entropy"])
    for attempts in ATTEMPTS:
        method = f"attempts-{attempts}"
        if strengths.size == 0:
            why = "what is left of one key given helper data is not known for each person"
            table.skip("joint-strength", "bit", why, method=method)
            continue
        try:
            found = estimated_joint_strength(np.clip(strengths, 0.0, limit), attempts=attempts)
        except InsufficientData as error:
            table.skip("joint-strength", "bit", str(error), method=method)
            continue
        reason = (
            "if a person's attempts are independent, and as strong as their shares of symbols allow, up to "
            f"the {limit:.4g} bits that may be left of any one"
        )
        most = replace(found, high=float(np.minimum(found.high, attempts * limit)))
        table.add("joint-strength", most, reason=reason)
    agreed, subject = honest.agreed, honest.subject
    for tries in TRIES:
        wanted: dict[tuple[str, str], Callable[..., Estimate]] = {
            ("agreement-within", "probability"): partial(agreement_within, agreed, subject),
            ("retries", "tries"): partial(mean_tries, agreed, subject),
            ("retries", "s"): partial(time_until_key, agreed, honest.seconds, subject),
        }
        for (measure, unit), estimate in wanted.items():
            try:
                table.add(
                    measure, estimate(tries=tries), reason=f"of a user who gives up after {tries} tries"
                )
            except InsufficientData as error:
                table.skip(measure, unit, str(error), method=f"tries-{tries}")
