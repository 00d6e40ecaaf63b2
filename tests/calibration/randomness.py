"""Size of the tests of randomness on uniform bits."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from calibration.case import Case
from harness.contracts import Array
from harness.estimators.randomness import counts, patterns, structure
from harness.estimators.randomness.excursions import (
    STATES,
    VARIANT_STATES,
    excursions,
    excursions_variant,
)


def rejects(
    rng: np.random.Generator, *, test: Callable[..., Array], n: int, options: dict[str, Any], outcome: int
) -> bool:
    bits = np.unpackbits(rng.integers(0, 256, (1, n // 8), np.uint8), axis=1)
    return bool(test(bits, **options)[0, outcome] < 0.01)


def rejects_where_it_applies(
    rng: np.random.Generator, *, test: Callable[[Array], Array], n: int, state: int
) -> bool:
    """Walks with too few cycles are none of the test's; another is drawn in their place."""
    while True:
        bits = np.unpackbits(rng.integers(0, 256, (1, n // 8), np.uint8), axis=1)
        p = float(test(bits)[0, state])
        if not np.isnan(p):
            return p < 0.01


_WALKS: tuple[tuple[Callable[[Array], Array], tuple[int, ...], int], ...] = (
    (excursions, STATES, 1),
    (excursions, STATES, -3),
    (excursions_variant, VARIANT_STATES, 1),
    (excursions_variant, VARIANT_STATES, -6),
)
_TESTS: tuple[tuple[Callable[..., Array], int, dict[str, Any], int, str], ...] = (
    (counts.frequency, 16_384, {}, 0, ""),
    (counts.block_frequency, 16_384, {}, 0, ""),
    (counts.runs, 16_384, {}, 0, "bits that fail the frequency test are rejected here too"),
    (counts.longest_run, 16_384, {}, 0, ""),
    (counts.cumulative_sums, 16_384, {}, 0, ""),
    (structure.matrix_rank, 131_072, {}, 0, ""),
    (structure.spectral, 16_384, {}, 0, ""),
    (structure.universal, 400_000, {}, 0, ""),
    (structure.linear_complexity, 40_000, {"block": 100}, 0, "blocks of 100 bits"),
    (patterns.non_overlapping_templates, 65_536, {"templates": [1]}, 0, "one template"),
    (patterns.non_overlapping_templates, 131_072, {"templates": [19]}, 0, "a template of other bits"),
    (patterns.overlapping_template, 206_400, {}, 0, "exact chances"),
    (patterns.serial, 16_384, {"m": 5}, 0, "first difference"),
    (patterns.serial, 16_384, {"m": 5}, 1, "second difference"),
    (patterns.approximate_entropy, 16_384, {"m": 5}, 0, ""),
)
CASES = [
    *(
        Case(
            name=f"randomness: {test.__name__}{', second' if outcome else ''}",
            channel=f"{n} uniform bits",
            kind="size",
            nominal=0.01,
            run=partial(rejects, test=test, n=n, options=options, outcome=outcome),
            remark=remark,
        )
        for test, n, options, outcome, remark in _TESTS
    ),
    *(
        Case(
            name=f"randomness: {test.__name__}",
            channel=f"state {state}, 400000 uniform bits",
            kind="size",
            nominal=0.01,
            run=partial(rejects_where_it_applies, test=test, n=400_000, state=states.index(state)),
        )
        for test, states, state in _WALKS
    ),
]
