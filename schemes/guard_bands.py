"""Guard bands: A publishes which features lie well away from the thresholds, and only these are used.

References
----------
Mathur, Trappe, Mandayam, Ye and Reznik, ACM MobiCom 2008 (from memory): excursions beyond two levels,
their indices sent in the clear. Here as many features are kept in every attempt.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from numbers import Integral

import numpy as np
from scipy.special import ndtr, ndtri

from harness.contracts import Array, Helper, Witness

__all__ = ["GuardBands", "clearance", "kept_indices"]


def clearance(feature_cdf: Array, levels: int) -> Array:
    """Distance of each feature from the nearest threshold, in probability.

    With two levels there is one threshold, in the middle. With more, the outer ends count as
    thresholds too: else outer cells would be kept more often, and the indices would tell of the
    symbols. So for the right distribution clearance and cell are independent.

    Parameters
    ----------
    feature_cdf : float, any shape
        Value of the feature's own distribution function at it, 0 to 1.
    levels : int
        Equiprobable cells.

    Returns
    -------
    float64, shape of `feature_cdf`
        At most 1 / 2 with two levels, 1 / (2 levels) with more.
    """
    if not isinstance(levels, Integral) or not 2 <= levels <= 256:
        raise ValueError(f"`levels` must be a whole number from 2 to 256, got {levels!r}")
    if levels == 2:
        return np.abs(np.asarray(feature_cdf) - 0.5)
    inside = np.asarray(feature_cdf) * levels % 1.0
    return np.minimum(inside, 1 - inside) / levels


def kept_indices(clearance: Array, count: int) -> Array:
    """Indices (attempts, count) of the largest values of each row (attempts, m), ascending.

    Raises
    ------
    ValueError
        If there are fewer than `count`.
    """
    if clearance.shape[1] < count:
        raise ValueError(
            f"there must be at least {count} features to keep {count}, got {clearance.shape[1]}"
        )
    order = np.argsort(-clearance, axis=1, kind="stable")[:, :count]
    return np.sort(order, axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class GuardBands:
    """Assistance for `schemes.assisted`: of `features` measured features the clearest are used.

    Features are standardised: normal with mean 0 and variance 1, symbols their equiprobable cells. If
    they are not, the indices may tell something of the symbols, which the parity equations of the
    sketch do not cover. They do say which measurements to attack, and the harness uses that.
    """

    features: int
    levels: int

    def __post_init__(self) -> None:
        if not isinstance(self.features, Integral) or not 1 <= self.features <= 65536:
            raise ValueError(f"`features` must be a whole number from 1 to 65536, got {self.features!r}")
        clearance(np.zeros(1), self.levels)

    def measured(self, symbols: int) -> int:
        """All features, of which `symbols` are used."""
        if symbols > self.features:
            raise ValueError(f"`features` must be at least {symbols}, which are used, got {self.features}")
        return self.features

    def publish(self, witness: Witness, symbols: int) -> tuple[Witness, Helper]:
        """A's kept symbols, and "kept" (attempts, symbols) uint16, ascending."""
        if witness.features is None:
            raise ValueError(
                "the witness must come with its features, got none; use a quantiser that gives them"
            )
        scores = ndtr(np.nan_to_num(witness.features[:, : self.features, 0]))
        indices = kept_indices(clearance(scores, self.levels), symbols)
        helper = {"kept": indices.astype(np.uint16)}
        return self.read(witness, helper), helper

    def read(self, witness: Witness, helper: Helper) -> Witness:
        """The symbols at the published indices."""
        symbols = np.take_along_axis(witness.symbols, helper["kept"].astype(np.intp), axis=1)
        return replace(witness, symbols=symbols, features=None)

    def reread(self, witness: Witness, helper: Helper) -> Witness:
        """Symbols as they are, and as features how well each cell fits, in two ways where a feature was
        kept and two where it was not.

        The ways are the middle of a cell, on the scale of normal scores, times the reader's feature, and
        that middle squared. Kept features are the surer ones: what they are worth is learned apart.
        """
        kept = np.zeros(witness.symbols.shape, np.bool_)
        np.put_along_axis(kept, helper["kept"].astype(np.intp), True, axis=1)
        middles = ndtri((np.arange(self.levels) + 0.5) / self.levels)
        scores = np.nan_to_num(np.asarray(witness.features)[:, :, :1])
        ways = np.stack([middles * scores, np.broadcast_to(middles**2, (*kept.shape, self.levels))], axis=2)
        apart = [ways * mask[..., None, None] for mask in (kept, ~kept)]
        features = np.concatenate(apart, axis=2).reshape(*kept.shape, -1)
        return replace(witness, features=features)

    def places(self, helper: Helper, positions: Array, bits: int) -> Array:
        """(attempts, blocks, n) in the whole witness, of positions (1, blocks, n) in what is kept."""
        kept = helper["kept"].astype(np.intp)
        symbol, bit = np.divmod(np.maximum(positions[0], 0), bits)
        return np.where(positions >= 0, kept[:, symbol] * bits + bit, -1)
