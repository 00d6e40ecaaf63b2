"""What every test asks of its bits."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData

__all__ = ["require_bits"]


def require_bits(bits: Array, *, least: int, test: str) -> Array:
    """Bits as (sequences, n) uint8, long enough for a test.

    Raises
    ------
    ValueError
        If they are not 0 and 1, or not in two dimensions.
    InsufficientData
        If sequences are shorter than `least`.
    """
    given = np.asarray(bits)
    if given.ndim != 2 or given.dtype.kind not in "biu" or (given.size and int(given.max()) > 1):
        raise ValueError(
            f"`bits` must be 0 and 1 as (sequences, n), got {given.dtype} of shape {given.shape}"
        )
    if given.size and int(given.min()) < 0:
        raise ValueError("`bits` must be 0 and 1, got negative numbers")
    if given.shape[1] < least:
        raise InsufficientData(f"{test} needs at least {least} bits a sequence, got {given.shape[1]}")
    return given.astype(np.uint8)
