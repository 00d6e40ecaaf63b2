"""Upper limits of what a binary view tells, and the power at the detection limit."""

from __future__ import annotations

from functools import partial

import numpy as np
from scipy.optimize import brentq
from scipy.stats import binom

from calibration.case import Case
from harness.estimators.discrete_leakage import (
    channel_information,
    detectable_information,
    information_limit,
    min_entropy_leakage,
)

FAIR = np.array([0.5, 0.5])
MEASURES = {"information": channel_information, "min-entropy leakage": min_entropy_leakage}


def limit(rng: np.random.Generator, *, zero: float, one: float, trials: int, measure: str) -> bool:
    """`zero`, `one`: how often the view is 1 under either secret."""
    secret = rng.random(trials) < 0.5
    view = rng.random(trials) < np.where(secret, one, zero)
    counts = np.bincount(2 * secret.astype(int) + view, minlength=4).reshape(2, 2)
    truth = MEASURES[measure](np.array([[1 - zero, zero], [1 - one, one]]), FAIR)
    return information_limit(counts, measure=MEASURES[measure]).high >= truth


def seen(rng: np.random.Generator, *, trials: int, power: float) -> bool:
    """A symmetric leak of the size that is said to be detectable, under the test that is meant."""
    bits = detectable_information(trials, power=power)
    share = brentq(
        lambda p: channel_information(np.array([[p, 1 - p], [1 - p, p]]), FAIR) - bits, 0.5, 1 - 1e-9
    )
    return bool(binom.sf(rng.binomial(trials, share) - 1, trials, 0.5) <= 0.05)


CASES = [
    *(
        Case(
            name=f"information_limit of {measure}",
            channel=f"{channel}, {trials} attempts",
            kind="coverage",
            nominal=0.95,
            run=partial(limit, zero=zero, one=one, trials=trials, measure=measure),
            remark="boxes of two exact intervals, the most of their corners",
        )
        for measure in MEASURES
        for channel, zero, one in (
            ("symmetric, error .1", 0.1, 0.9),
            ("symmetric, error .4", 0.4, 0.6),
            ("Z, error .3", 0.0, 0.7),
            ("near-zero rates .01 and .03", 0.01, 0.03),
            ("nothing leaks", 0.5, 0.5),
        )
        for trials in (60, 600)
    ),
    *(
        Case(
            name="detectable_information",
            channel=f"symmetric leak of that size, {trials} attempts",
            kind="coverage",
            nominal=power,
            run=partial(seen, trials=trials, power=power),
            remark="the power at the detection limit",
        )
        for trials, power in ((50, 0.8), (300, 0.95), (1000, 0.8))
    ),
]
