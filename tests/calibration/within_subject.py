"""Size of the within-subject permutation test, also where people's bits are biased."""

from __future__ import annotations

from functools import partial

import numpy as np

from calibration.case import Case
from harness.estimators.within_subject import min_p_value


def rejects(rng: np.random.Generator, *, bias: float, positions: int) -> bool:
    """People whose bits are biased, an adversary who knows the bias: identity, no leakage."""
    subject = np.repeat(np.arange(10), 6)
    habit = np.clip(0.5 + bias * rng.standard_normal((10, positions)), 0.02, 0.98)[subject]
    true, told = (rng.random((2, 60, positions)) < habit).astype(int)
    return min_p_value(told, true, subject, rng=rng, repetitions=99).value <= 0.05


CASES = [
    Case(
        name="min_p_value",
        channel=f"{positions} bits of ten people, biased by {bias:g}, the bias known",
        kind="size",
        nominal=0.05,
        run=partial(rejects, bias=bias, positions=positions),
    )
    for bias in (0.0, 0.1, 0.3)
    for positions in (1, 16)
]
