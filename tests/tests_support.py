"""Helpers that several test files import."""

from __future__ import annotations

from typing import Any

import numpy as np

from harness.contracts import Array, Witness
from harness.exchange import Honest

__all__ = ["exchanged"]


def exchanged(
    scheme: Any, *, rows: int, seed: int = 0, people: int = 3, extra: dict[str, Array] | None = None
) -> Honest:
    """Uniform signs of A, the same at B, under a scheme over 23 of them."""
    rng = np.random.default_rng(seed)
    symbols = rng.integers(0, 2, (rows, 23), dtype=np.uint8)
    witness = Witness(symbols=symbols, alphabet=2, acquired=np.ones(rows, bool))
    keys, helper = scheme.generate(witness, rng=rng)
    again, accepted = scheme.reproduce(witness, helper)
    subject = np.sort(np.arange(rows) % people)
    return Honest(
        sitting=subject,
        local=np.arange(rows),
        subject=subject,
        session=np.zeros(rows, int),
        a=witness,
        b=witness,
        keys_a=keys,
        keys_b=again,
        accepted=accepted,
        helper={**helper, **(extra or {})},
        seconds=np.ones(rows),
    )
