"""What the tests of independence and of restarts ask of their symbols."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["whole_symbols"]


def whole_symbols(symbols: Array, *, dimensions: int = 1) -> Array:
    """Symbols as an array of whole numbers.

    Parameters
    ----------
    symbols : array of int
    dimensions : int
        How many axes there must be.

    Raises
    ------
    ValueError
        If there are others, or symbols are not whole numbers.
    """
    values = np.asarray(symbols)
    if values.ndim != dimensions or values.dtype.kind not in "iub":
        shape = "(n,)" if dimensions == 1 else "(restarts, symbols)"
        raise ValueError(
            f"symbols must be whole numbers of shape {shape}, got {values.dtype} of shape {values.shape}"
        )
    return values
