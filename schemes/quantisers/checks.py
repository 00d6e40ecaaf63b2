"""Checks of quantiser parameters: one sentence with the field, what it must be and what it was."""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from itertools import pairwise
from numbers import Integral, Real

__all__ = ["ascending", "choice", "finite", "number", "whole_number"]


def finite(field: str, value: object) -> None:
    """Refuse what is not a finite number."""
    if not _finite(value):
        raise ValueError(f"`{field}` must be a finite number, got {value!r}")


def number(field: str, value: object, *, positive: bool) -> None:
    """Refuse what is not a finite number above (or, if not `positive`, of at least) 0."""
    if not isinstance(value, Real) or not _finite(value) or value < 0 or (positive and value == 0):
        expected = "positive" if positive else "0 or more"
        raise ValueError(f"`{field}` must be {expected} and finite, got {value!r}")


def whole_number(field: str, value: object, low: int, high: int | None = None) -> None:
    """Refuse what is not a whole number of at least `low` and, if there is one, at most `high`."""
    whole = isinstance(value, Integral) and not isinstance(value, bool) and low <= int(value)
    if not whole or (high is not None and isinstance(value, Integral) and int(value) > high):
        span = f"of {low} or more" if high is None else f"from {low} to {high}"
        raise ValueError(f"`{field}` must be a whole number {span}, got {value!r}")


def ascending(field: str, values: Sequence[float], least: int = 2, most: int = 2) -> None:
    """Refuse what is not `least` to `most` finite, strictly ascending numbers."""
    sound = isinstance(values, tuple) and all(map(_finite, values)) and least <= len(values) <= most
    if not sound or not all(a < b for a, b in pairwise(values)):
        span = f"{least} to {most} finite," if least < most else "two"
        raise ValueError(f"`{field}` must be {span} ascending numbers, got {values!r}")


def choice(field: str, value: object, known: Sequence[str]) -> None:
    """Refuse what is not one of the `known` words; the message gives the nearest."""
    if value not in known:
        near = difflib.get_close_matches(str(value), known, n=1, cutoff=0)[0]
        raise ValueError(
            f"`{field}` must be one of {', '.join(known)}, got {value!r}; the nearest is {near!r}"
        )


def _finite(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value)
