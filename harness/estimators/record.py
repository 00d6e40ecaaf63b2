"""Min-entropy of a whole record of symbols: what it is at best, if independent, and as a chain."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators import jackknife

__all__ = ["chain_record", "independent_record", "likeliest_path", "uniform_record"]


def uniform_record(m: int, alphabet: int, *, subjects: int, attempts: int) -> Estimate:
    """Bits of `m` symbols if every record were as likely as every other; no scheme has more.

    Raises
    ------
    ValueError
        If there is no symbol or fewer than two kinds of it.
    """
    if m < 1 or alphabet < 2:
        raise ValueError(f"a record must hold at least one symbol of two kinds, got {m} of {alphabet}")
    bits = m * float(np.log2(alphabet))
    return Estimate(
        value=bits,
        low=bits,
        high=bits,
        level=0.95,
        unit="bit",
        side="defender-at-most",
        evidence="exact",
        subjects=subjects,
        attempts=attempts,
        method="uniform-record",
    )


def independent_record(symbols: Array, subject: Array, *, alphabet: int, level: float = 0.95) -> Estimate:
    """Min-entropy of a record of independent symbols that have the shares seen here.

    Parameters
    ----------
    symbols : (attempts, m) int
        Below `alphabet`.
    subject : (attempts,) int
    alphabet : int
    level : float
        Two-sided, by a jackknife over people.

    Returns
    -------
    Estimate
        Unit "bit", side "defender-at-most": dependence, which it does not see, and habits of single
        people lower the truth. Evidence "modelled".

    Raises
    ------
    InsufficientData
        If there is no symbol.
    ValueError
        If symbols are not integers from 0 up to below `alphabet`.
    """
    _require_symbols(symbols, alphabet)

    def bits(rows: Array) -> float:
        count = np.bincount(symbols[rows].ravel().astype(np.intp), minlength=alphabet)
        return float(-symbols.shape[1] * np.log2(count.max() / count.sum())) + 0.0

    return _fitted(bits, symbols, subject, alphabet, level, "independent-record")


def chain_record(symbols: Array, subject: Array, *, alphabet: int, level: float = 0.95) -> Estimate:
    """Min-entropy of a record in which each symbol depends on the one before it.

    Parameters
    ----------
    symbols, subject, alphabet, level
        As `independent_record`.

    Returns
    -------
    Estimate
        As `independent_record`. Longer dependence is not seen. Transitions are pooled over positions,
        people and attempts, first symbols over people and attempts.

    Raises
    ------
    InsufficientData, ValueError
        As `independent_record`.

    Examples
    --------
    >>> stays = np.array([[0, 0, 1, 1, 1, 1, 0, 0], [1, 1, 0, 0, 0, 0, 1, 1]])
    >>> person = np.array([0, 1])
    >>> independent = independent_record(stays, person, alphabet=2).value
    >>> chain = chain_record(stays, person, alphabet=2).value
    >>> round(independent, 3), round(chain, 3)
    (8.0, 4.398)
    """
    _require_symbols(symbols, alphabet)

    def bits(rows: Array) -> float:
        some = symbols[rows].astype(np.intp)
        first = np.bincount(some[:, 0], minlength=alphabet) / len(some)
        pairs = np.bincount(
            (some[:, :-1] * alphabet + some[:, 1:]).ravel(), minlength=alphabet * alphabet
        ).reshape(alphabet, alphabet)
        step = pairs / np.maximum(pairs.sum(axis=1, keepdims=True), 1)
        return likeliest_path(first, step, symbols.shape[1])

    return _fitted(bits, symbols, subject, alphabet, level, "chain-record")


def likeliest_path(first: Array, step: Array, m: int) -> float:
    """Min-entropy of `m` symbols of a Markov chain: minus log2 of its likeliest record.

    Parameters
    ----------
    first : (alphabet,) float
        Of the first symbol.
    step : (alphabet, alphabet) float
        From each symbol (row) to the next.
    m : int

    Returns
    -------
    float
        Bits.

    Examples
    --------
    >>> fair = np.full(2, 0.5)
    >>> likeliest_path(fair, np.full((2, 2), 0.5), 8)
    8.0
    """
    with np.errstate(divide="ignore"):
        best, log_step = np.log2(first), np.log2(step)
    for _ in range(m - 1):
        best = (best[:, None] + log_step).max(axis=0)
    return -float(best.max()) + 0.0


def _fitted(
    bits: Callable[[Array], float], symbols: Array, subject: Array, alphabet: int, level: float, method: str
) -> Estimate:
    value, half = jackknife.over_people(bits, subject, level=level)
    most = symbols.shape[1] * float(np.log2(alphabet))
    return Estimate(
        value=value,
        low=float(np.maximum(value - half, 0.0)),
        high=float(np.minimum(value + half, most)),
        level=level,
        unit="bit",
        side="defender-at-most",
        evidence="modelled",
        subjects=len(np.unique(subject)),
        attempts=len(symbols),
        method=method,
    )


def _require_symbols(symbols: Array, alphabet: int) -> None:
    if symbols.size == 0:
        raise InsufficientData("a record must hold at least one symbol, got none")
    if symbols.dtype.kind not in "iu" or symbols.min() < 0 or symbols.max() >= alphabet:
        raise ValueError(
            f"symbols must be integers from 0 up to below {alphabet}, got values from {symbols.min()} to "
            f"{symbols.max()} as {symbols.dtype}"
        )
