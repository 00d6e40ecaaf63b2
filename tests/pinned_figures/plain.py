"""Results boiled down to a few numbers, for a file that stays small."""

from __future__ import annotations

import json
import math
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from harness.errors import InsufficientData

_STEP = 0.6180339887498949  # no two places weigh the same

REFUSED, TOO_FEW = "refused", "too few data"

Row = tuple[int, float, float, int]
"""How many numbers, the sums of their logs, plain and weighed, and a sum over words and the not finite."""


def tried(function: Callable[..., Any], *args: Any, **named: Any) -> Any:
    """What a function gives, or that it refuses, with what it says all the same."""
    try:
        return function(*args, **named)
    except InsufficientData as error:
        return TOO_FEW if error.partial is None else (TOO_FEW, error.partial)
    except ValueError:
        return REFUSED


def rows(figure: Any) -> list[Row]:
    """One row for each item of a list, or for the whole of anything else."""
    return [row(item) for item in figure] if isinstance(figure, list) else [row(figure)]


def row(value: Any) -> Row:
    numbers, words = [], []
    for leaf in _leaves(value):
        if isinstance(leaf, float) and math.isfinite(leaf):
            numbers.append(leaf)
        else:
            words.append(f"{len(numbers)} {leaf}")
    # on a log scale from 1 on, so that counts of 2^40 drown no share
    all_of = np.sign(numbers) * np.log1p(np.abs(numbers))
    weight = (np.arange(1, len(numbers) + 1) * _STEP) % 1
    return (
        len(numbers),
        float(np.abs(all_of).sum()),
        float(all_of @ weight),
        zlib.crc32("\n".join(words).encode()),
    )


def text_of(figures: Mapping[str, list[Row]]) -> str:
    """A line for each figure."""
    lines = [
        f"{json.dumps(name)}: {json.dumps(found, separators=(',', ':'))}" for name, found in figures.items()
    ]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _leaves(value: Any) -> Iterator[Any]:
    if is_dataclass(value) and not isinstance(value, type):
        for f in fields(value):
            yield from _leaves(getattr(value, f.name))
    elif isinstance(value, np.ndarray):
        yield str(value.shape)
        yield from (_leaf(v) for v in value.ravel().tolist())
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield str(key)
            yield from _leaves(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _leaves(item)
    else:
        yield _leaf(value)


def _leaf(value: Any) -> Any:
    return float(value) if isinstance(value, bool | int | float | np.number | np.bool_) else value
