"""Helper data that say where in its cell a feature lies, and nothing of which cell it is.

References
----------
Verbitskiy, Tuyls, Obi, Schoenmakers and Skoric, IEEE Trans. Inf. Forensics Security 5 (2010) 269-281;
de Groot, Skoric, de Vreede and Linnartz, EURASIP J. Inf. Security 2016:13 (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral

import numpy as np
from scipy.special import ndtr, ndtri

from harness.contracts import Array, Helper, Witness

__all__ = ["CellPositions", "cell", "choose", "position"]

_STEPS = 1 << 16  # as finely as positions are published
_EDGE = 1e-15  # a feature at the very end of its range has a normal score all the same


def cell(feature_cdf: Array, levels: int) -> Array:
    """Which of `levels` equiprobable cells each feature lies in.

    Parameters
    ----------
    feature_cdf : float, any shape
        Value of the feature's own distribution function at it, 0 to 1.
    levels : int
        2 to 256.

    Returns
    -------
    uint8, shape of `feature_cdf`
    """
    _require(feature_cdf, levels)
    return np.asarray(np.minimum(np.floor(feature_cdf * levels), levels - 1), np.uint8)


def position(feature_cdf: Array, levels: int) -> Array:
    """How far into its equiprobable cell each feature lies, as a share of the cell's probability.

    If `feature_cdf` belongs to the right distribution it is uniform, and the position is uniform and
    independent of the cell: publishing it leaks nothing about the symbol. Of another distribution it does.

    Parameters
    ----------
    feature_cdf, levels
        As for `cell`.

    Returns
    -------
    float64, shape of `feature_cdf`
        From 0 to below 1; at a feature_cdf of 1 it is 1.
    """
    return np.asarray(feature_cdf * levels - cell(feature_cdf, levels))


def choose(feature_cdf: Array, position: Array, levels: int, *, correlation: float = 1.0) -> Array:
    """The cell whose point at A's position lies nearest to B's feature, on the scale of normal scores.

    With normal features of unit variance and the stated correlation it is the likeliest cell.

    Parameters
    ----------
    feature_cdf : float, any shape
        B's features, as for `cell`.
    position : float, same shape
        A's, as published.
    levels : int
    correlation : float
        Of A's and B's features, above 0 and at most 1: B expects its own that much nearer to the mean.

    Returns
    -------
    uint8, same shape

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    _require(feature_cdf, levels)
    if not 0 < correlation <= 1:
        raise ValueError(f"`correlation` must be above 0 and at most 1, got {correlation:g}")
    points = correlation * _points(np.asarray(position), levels)  # ascending along the last axis
    score = ndtri(np.clip(feature_cdf, _EDGE, 1 - _EDGE))
    halfway = (points[..., 1:] + points[..., :-1]) / 2
    return np.asarray((score[..., None] > halfway).sum(axis=-1), np.uint8)


@dataclass(frozen=True, slots=True, kw_only=True)
class CellPositions:
    """Assistance for `schemes.assisted`: A publishes its features' positions, B chooses cells by them.

    Features are standardised: normal with mean 0 and variance 1, and A's symbols are their equiprobable
    cells in ascending order. If they are not, positions tell something of the symbols, which the parity
    equations of the sketch do not cover; the measures of the harness that read any helper array do.
    """

    levels: int
    correlation: float = 1.0

    def __post_init__(self) -> None:
        _require(np.zeros(1), self.levels)
        if not 0 < self.correlation <= 1:
            raise ValueError(f"`correlation` must be above 0 and at most 1, got {self.correlation:g}")

    def measured(self, symbols: int) -> int:
        """Every symbol that is read is published about."""
        return symbols

    def publish(self, witness: Witness, symbols: int) -> tuple[Witness, Helper]:
        """A's own symbols, and "positions" (attempts, symbols) uint16, in 65536ths of a cell."""
        inside = position(_scores(witness, symbols), self.levels)
        steps = np.minimum(inside * _STEPS, _STEPS - 1).astype(np.uint16)
        return _with_symbols(witness, witness.symbols[:, :symbols]), {"positions": steps}

    def read(self, witness: Witness, helper: Helper) -> Witness:
        """B's symbols, chosen by A's positions."""
        inside = (helper["positions"] + 0.5) / _STEPS
        scores = _scores(witness, inside.shape[1])
        symbols = choose(scores, inside, self.levels, correlation=self.correlation)
        return _with_symbols(witness, symbols)

    def reread(self, witness: Witness, helper: Helper) -> Witness:
        """Symbols chosen by A's positions, and as features how well each cell fits, in two ways.

        With normal features of unit variance a cell's log-probability is a sum of the two, weighted by what
        the reader's correlation is: its point at A's position times the reader's feature, and that
        point squared.
        """
        inside = (helper["positions"] + 0.5) / _STEPS
        own = self.read(witness, helper)
        points = _points(inside, self.levels)
        scores = np.nan_to_num(np.asarray(witness.features)[:, : inside.shape[1], :1])
        features = np.concatenate([points * scores, points**2], axis=2)
        return Witness(symbols=own.symbols, alphabet=own.alphabet, acquired=own.acquired, features=features)

    def places(self, helper: Helper, positions: Array, bits: int) -> Array:
        """Positions of the blocks in the witness: as they are."""
        return positions


def _points(position: Array, levels: int) -> Array:
    """(..., levels): normal scores of the points at a position of every cell."""
    shares = (np.arange(levels) + position[..., None]) / levels
    return np.asarray(ndtri(np.clip(shares, _EDGE, 1 - _EDGE)))


def _scores(witness: Witness, symbols: int) -> Array:
    if witness.features is None:
        raise ValueError(
            "the witness must come with its features, got none; use a quantiser that gives them"
        )
    return np.asarray(ndtr(np.nan_to_num(witness.features[:, :symbols, 0])))


def _with_symbols(witness: Witness, symbols: Array) -> Witness:
    return Witness(symbols=symbols, alphabet=witness.alphabet, acquired=witness.acquired)


def _require(feature_cdf: Array, levels: int) -> None:
    if not isinstance(levels, Integral) or not 2 <= levels <= 256:
        raise ValueError(f"`levels` must be a whole number from 2 to 256, got {levels!r}")
    if np.size(feature_cdf) and not (np.min(feature_cdf) >= 0 and np.max(feature_cdf) <= 1):
        raise ValueError(
            "`feature_cdf` must lie between 0 and 1, "
            f"got {np.min(feature_cdf):g} to {np.max(feature_cdf):g}"
        )
