"""Do neighbouring symbols depend on one another?"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array

__all__ = ["neighbours_p_value"]


def neighbours_p_value(
    symbols: Array, *, alphabet: int, rng: np.random.Generator, repetitions: int = 99
) -> float:
    """Chance of neighbours this dependent if the order of an attempt's symbols meant nothing.

    Parameters
    ----------
    symbols : (attempts, m) int
        Below `alphabet`.
    alphabet : int
    rng : numpy.random.Generator
    repetitions : int
        Shuffles of every attempt's symbols; the least p is 1 / (repetitions + 1).

    Returns
    -------
    float
        1 where an attempt has a single symbol, or all symbols are the same. Shares that differ between
        people or attempts do not matter; shares that differ between positions count as dependence.

    Notes
    -----
    The statistic is the plug-in mutual information of neighbours, pooled.
    """
    if symbols.shape[1] < 2 or symbols.size == 0:
        return 1.0
    known = symbols.astype(np.int64)
    seen = _information(known, alphabet)
    shuffled = sum(
        _information(rng.permuted(known, axis=1), alphabet) >= seen - 1e-12 for _ in range(repetitions)
    )
    return (1 + shuffled) / (repetitions + 1)


def _information(symbols: Array, alphabet: int) -> float:
    """Bits of mutual information between neighbours."""
    pairs = np.bincount((symbols[:, :-1] * alphabet + symbols[:, 1:]).ravel(), minlength=alphabet**2)
    joint = pairs.reshape(alphabet, alphabet) / pairs.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    seen = joint > 0
    return float((joint[seen] * np.log2(joint[seen] / apart[seen])).sum())
