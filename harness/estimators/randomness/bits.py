"""What every test asks of its bits and parameters."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData

__all__ = ["FIGURES", "require_bits", "require_figures", "require_size"]

FIGURES = ("corrected", "printed")
"""Which reference figures a test uses: right to the last digit, or those behind the published p-values."""


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


def require_figures(figures: str) -> None:
    """Refuse any word that is not one of `FIGURES`."""
    if figures not in FIGURES:
        raise ValueError(f"`figures` must be {' or '.join(FIGURES)}, got {figures!r}")


def require_size(size: int, *, name: str, least: int, most: int | None = None) -> int:
    """A whole number within its limits.

    Raises
    ------
    ValueError
        If it is not whole, or outside `least` to `most`.
    """
    whole = isinstance(size, int | np.integer) and not isinstance(size, bool)
    if not whole or size < least or (most is not None and size > most):
        end = "or more" if most is None else f"to {most}"
        raise ValueError(f"`{name}` must be a whole number, {least} {end}, got {size!r}")
    return int(size)
