"""Evidence of a sound scheme, to plant flaws in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.detectors import Evidence, Generated

__all__ = ["sound_evidence"]


def sound_evidence(
    seed: int = 0,
    *,
    people: int = 60,
    each: int = 10,
    key_bits: int = 128,
    turns: int = 0,
    helper: bool = True,
    keys_of: Callable[[int], Array] | None = None,
) -> Evidence:
    """Uniform keys beside public arrays that have nothing to do with them.

    `keys_of` makes so many keys instead, for honest attempts and for `turns` further generations alike.
    """
    rng = np.random.default_rng(seed)
    n = people * each
    make = keys_of or (lambda rows: rng.integers(0, 2, (rows, key_bits), dtype=np.uint8))
    place = np.arange(n) % each
    arrays: dict[str, Any] = {
        "offset": rng.integers(0, 2, (n, 4, 24), dtype=np.uint8),
        "index": rng.integers(0, 16, (n, 8), dtype=np.uint8),
        "soft": rng.normal(size=(n, 20)),
    }
    return Evidence(
        keys=make(n),
        subject=np.arange(n) // each,
        session=place // max(1, each // 2),
        local=place % max(1, each // 2),
        helper=arrays if helper else {},
        seconds=rng.uniform(10, 30, n),
        accepted=rng.random(n) < 0.9,
        generated=Generated(keys=make(turns * n), row=np.tile(np.arange(n), turns)) if turns else None,
    )
