"""Attack potential: sums, bands, and a rationale that must be there."""

from __future__ import annotations

from typing import Any

import pytest

from harness.potential import FACTORS, band, rating

LEAST: dict[str, Any] = {f: min(steps, key=lambda s: steps[s]) for f, steps in FACTORS.items()}
MOST: dict[str, Any] = {f: max(steps, key=lambda s: steps[s]) for f, steps in FACTORS.items()}


def test_extremes() -> None:
    assert rating(**LEAST, rationale="anyone at any time") == (0, "basic")
    assert rating(**MOST, rationale="a laboratory") == (19 + 8 + 11 + 10 + 9, "beyond-high")


@pytest.mark.parametrize("factor", FACTORS)
def test_every_factor_counts_once(factor: str) -> None:
    points = rating(**{**LEAST, factor: MOST[factor]}, rationale="one factor")[0]
    assert points == max(FACTORS[factor].values())


# points as in table 5 of doi 10.1186/s12911-020-01145-7, where it has them
@pytest.mark.parametrize(
    ("factor", "points"),
    [
        ("elapsed_time", {0, 1, 4, 10, 17, 19}),
        ("expertise", {0, 3, 6, 8}),
        ("knowledge", {0, 3, 7, 11}),
        ("window", {0, 1, 4, 10}),
        ("equipment", {0, 4, 7, 9}),
    ],
)
def test_points_are_the_published_ones(factor: str, points: set[int]) -> None:
    assert points <= set(FACTORS[factor].values())
    assert list(FACTORS[factor].values()) == sorted(FACTORS[factor].values())


@pytest.mark.parametrize(
    ("points", "name"), [(9, "basic"), (10, "enhanced-basic"), (24, "high"), (25, "beyond-high")]
)
def test_bands_change_at_their_edges(points: int, name: str) -> None:
    assert band(points) == name


def test_a_rating_without_reasons_or_with_unknown_steps_is_refused() -> None:
    with pytest.raises(ValueError, match="rationale"):
        rating(**LEAST, rationale="  ")
    with pytest.raises(ValueError, match="`window` must be one of unlimited"):
        rating(**{**LEAST, "window": "open"}, rationale="why not")
    with pytest.raises(ValueError, match="at least 0"):
        band(-1)
