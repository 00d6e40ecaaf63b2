"""All figures, and the file that holds them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from pinned_figures import attempts, entropy, gates, keys, leakage, people, randomness, scores
from pinned_figures.plain import Row


def streams() -> Any:
    """If this moved, numpy draws other inputs, and all figures are of other ones."""
    draw = np.random.default_rng(0)
    ours = (draw.integers(0, 9, 5), draw.normal(size=5), draw.choice(4, 5), draw.dirichlet(np.ones(3)))
    return [*ours, draw.permuted(np.arange(9))]


FILE = Path(__file__).with_name("pinned.json")
FIGURES: dict[str, Callable[[], Any]] = {"streams of numpy": streams} | {
    f"{module.__name__.rpartition('.')[2]}: {name}": figure
    for module in (attempts, entropy, gates, keys, leakage, people, randomness, scores)
    for name, figure in module.FIGURES.items()
}
NEAR = 1e-8  # of a row's sum of logs: what other versions of the libraries may round differently


def pinned() -> dict[str, list[Row]]:
    """What the file holds."""
    held = json.loads(FILE.read_text(encoding="utf-8"))
    return {
        name: [(int(n), size, weighed, int(words)) for n, size, weighed, words in found]
        for name, found in held.items()
    }


def moved(held: list[Row], found: list[Row]) -> list[str]:
    """Which rows of a figure are not as they are held, in words."""
    if len(found) != len(held):
        return [f"{len(held)} rows must come out, got {len(found)}"]
    return [
        f"row {number}: must be {was}, got {now}"
        for number, (was, now) in enumerate(zip(held, found, strict=True))
        if not near(was, now)
    ]


def near(was: Row, now: Row) -> bool:
    """The same numbers but for rounding, and the same words."""
    room = NEAR * (1 + was[1])
    return (
        (was[0], was[3]) == (now[0], now[3])
        and abs(was[1] - now[1]) <= room
        and abs(was[2] - now[2]) <= room
    )
