"""Attack potential: what an adversary must bring along, rated by five factors.

The factors and the points of their steps are those of the Common Evaluation Methodology. Elapsed time
0/1/4/10/17/19, expertise, knowledge, window and equipment are in table 5 of doi
10.1186/s12911-020-01145-7; the other steps of elapsed time and the bands of the sum are from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["BANDS", "FACTORS", "band", "rating"]

FACTORS: Mapping[str, Mapping[str, int]] = MappingProxyType(
    {
        # "1-week" reads: at most one week
        "elapsed_time": MappingProxyType(
            {
                "1-day": 0,
                "1-week": 1,
                "2-weeks": 2,
                "1-month": 4,
                "2-months": 7,
                "3-months": 10,
                "4-months": 13,
                "5-months": 15,
                "6-months": 17,
                "longer": 19,
            }
        ),
        "expertise": MappingProxyType({"layman": 0, "proficient": 3, "expert": 6, "several-experts": 8}),
        "knowledge": MappingProxyType({"public": 0, "restricted": 3, "sensitive": 7, "critical": 11}),
        "window": MappingProxyType({"unlimited": 0, "easy": 1, "moderate": 4, "difficult": 10}),
        "equipment": MappingProxyType(
            {"standard": 0, "specialised": 4, "bespoke": 7, "several-bespoke": 9}
        ),
    }
)
"""Points of every step of every factor."""

BANDS = ((9, "basic"), (13, "enhanced-basic"), (19, "moderate"), (24, "high"))
"""Largest sum of each band (from memory); above the last it is beyond high."""


def band(points: int) -> str:
    """The band of a sum of points.

    Examples
    --------
    >>> [band(points) for points in (0, 9, 10, 13, 14, 19, 20, 24, 25)]  # doctest: +NORMALIZE_WHITESPACE
    ['basic', 'basic', 'enhanced-basic', 'enhanced-basic', 'moderate', 'moderate', 'high', 'high',
     'beyond-high']
    """
    if points < 0:
        raise ValueError(f"`points` must be at least 0, got {points}")
    return next((name for most, name in BANDS if points <= most), "beyond-high")


def rating(
    *, elapsed_time: str, expertise: str, knowledge: str, window: str, equipment: str, rationale: str
) -> tuple[int, str]:
    """Sum of the five factors, and its band. The higher, the more an adversary must bring along.

    Parameters
    ----------
    elapsed_time, expertise, knowledge, window, equipment : str
        A step of `FACTORS` each.
    rationale : str
        Why these steps; a rating without one is an opinion.

    Returns
    -------
    points : int
    band : str

    Raises
    ------
    ValueError
        If a step is unknown or the rationale is empty.

    Examples
    --------
    A mimic who practised for a week with an electrode set that shops sell:

    >>> rating(elapsed_time="1-week", expertise="proficient", knowledge="public", window="easy",
    ...        equipment="specialised", rationale="the demo's mimic")
    (9, 'basic')
    """
    if not rationale.strip():
        raise ValueError("`rationale` must say why, got none")
    chosen = {
        "elapsed_time": elapsed_time,
        "expertise": expertise,
        "knowledge": knowledge,
        "window": window,
        "equipment": equipment,
    }
    points = 0
    for factor, step in chosen.items():
        if step not in FACTORS[factor]:
            raise ValueError(f"`{factor}` must be one of {', '.join(FACTORS[factor])}, got {step!r}")
        points += FACTORS[factor][step]
    return points, band(points)
