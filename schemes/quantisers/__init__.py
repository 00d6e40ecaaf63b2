"""From a capture to witness symbols, by name and parameters."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import fields
from types import MappingProxyType
from typing import Any

from schemes.quantisers.contract import Quantiser
from schemes.quantisers.crossings import LevelCrossings
from schemes.quantisers.differences import DifferenceSigns
from schemes.quantisers.each_channel import EachChannel
from schemes.quantisers.gait import GaitDeviation
from schemes.quantisers.interval_bits import IntervalBits
from schemes.quantisers.levels import EvenSteps, LevelSymbols
from schemes.quantisers.projections import ProjectionSigns
from schemes.quantisers.trend import TrendSymbols

__all__ = [
    "QUANTISERS",
    "DifferenceSigns",
    "EachChannel",
    "EvenSteps",
    "GaitDeviation",
    "IntervalBits",
    "LevelCrossings",
    "LevelSymbols",
    "ProjectionSigns",
    "Quantiser",
    "TrendSymbols",
    "quantiser_named",
    "quantiser_parameters",
]

QUANTISERS: Mapping[str, Callable[..., Quantiser]] = MappingProxyType(
    {
        "trend": TrendSymbols,
        "level": LevelSymbols,
        "even-steps": EvenSteps,
        "difference": DifferenceSigns,
        "crossings": LevelCrossings,
        "projections": ProjectionSigns,
        "interval-gray": IntervalBits,
        "gait-deviation": GaitDeviation,
    }
)


def quantiser_named(kind: str, **parameters: Any) -> Quantiser:
    """Return the quantiser called `kind`; what is not given is as usual.

    A list stands for a tuple, and a single number for a tuple of one. With `channels` of 2 or more, every
    channel is read by itself (`EachChannel`).

    Raises
    ------
    ValueError
        If there is no such kind or parameter, the message giving the nearest, or a value cannot be.

    Examples
    --------
    >>> quantiser_named("level", levels=8).labels.shape
    (8, 3)
    """
    usual = quantiser_parameters(kind)
    for name in parameters:
        if name not in usual:
            near = difflib.get_close_matches(name, usual, n=1, cutoff=0)[0]
            raise ValueError(f"the quantiser {kind!r} has no parameter {name!r}; the nearest is {near!r}")
    given = {n: _like(usual[n], value) for n, value in parameters.items()}
    channels = given.pop("channels", 1)
    one = QUANTISERS[kind](**given)
    return one if channels == 1 and channels is not True else EachChannel(inner=one, channels=channels)


def quantiser_parameters(kind: str) -> dict[str, Any]:
    """Parameters of the quantiser called `kind` and their usual values.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest name.
    """
    if kind not in QUANTISERS:
        near = difflib.get_close_matches(str(kind), QUANTISERS, n=1, cutoff=0)[0]
        known = ", ".join(QUANTISERS)
        raise ValueError(f"a quantiser must be one of {known}, got {kind!r}; the nearest is {near!r}")
    usual: Any = QUANTISERS[kind]()
    return {**{f.name: getattr(usual, f.name) for f in fields(usual)}, "channels": 1}


def _like(usual: Any, value: Any) -> Any:
    if not isinstance(usual, tuple):
        return value
    return tuple(value) if isinstance(value, list | tuple) else (value,)
