"""Limits of the worst of many, whoever it is."""

from __future__ import annotations

from functools import partial

import numpy as np

from calibration.case import Case
from harness.estimators.worst import worst_share


def covers(rng: np.random.Generator, *, people: int, icc: float) -> bool:
    scale = (1 - icc) / icc
    own = rng.beta(0.2 * scale, 0.8 * scale, people)
    group = np.repeat(np.arange(people), 10)
    found = worst_share(rng.random(len(group)) < own[group], group, subjects=people, method="x")
    return bool(found.share.low <= own[found.group] <= found.share.high)


CASES = [
    Case(
        name="worst_share",
        channel=f"{people} people x 10, rate .2, correlation within people {icc:g}",
        kind="coverage",
        nominal=0.9,
        run=partial(covers, people=people, icc=icc),
        remark="exact for every person at once, by Bonferroni",
    )
    for people in (5, 60)
    for icc in (0.01, 0.2)
]
