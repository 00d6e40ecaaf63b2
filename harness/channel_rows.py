"""Rows of schemes that read several channels: what their likeness takes from the hoped-for sum."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from harness import validate
from harness.collecting import Rows
from harness.contracts import Array, Estimate
from harness.errors import ContractError
from harness.estimators import jackknife
from harness.exchange import Honest
from harness.optional_parts import Channelled

__all__ = ["METHODS", "channel_rows"]

SUM, JOINT = "sum-of-channels", "joint"
METHODS = (SUM, JOINT)
MOST_CELLS = 2**16  # of all symbols together
_LEVEL = 0.95


def channel_rows(table: Rows, scheme: Any, honest: Honest) -> None:
    """Add the min-entropy of one symbol of every channel, hoped for and joint, and what the channels share.

    Parameters
    ----------
    table : Rows
        Of the scheme, without an attack; gets nothing where the scheme names no channels, or one.
    scheme : Scheme
        Perhaps with `channels`.
    honest : Honest
        Device A's symbols where it acquired: the first symbol of every channel together, then the second,
        and so on, all steps of all people pooled.
    """
    if not isinstance(scheme, Channelled):
        return
    try:
        steps = _steps(scheme, honest)
    except ContractError as error:
        table.skip("channel-entropy", "bit", str(error), status="failed", method=JOINT)
        return
    rows = np.flatnonzero(honest.a.acquired)
    channels, alphabet = steps.shape[0], honest.a.alphabet
    if channels < 2:
        return
    if not len(rows):
        table.skip("channel-entropy", "bit", "no attempt was acquired", method=JOINT)
        return
    if alphabet**channels > MOST_CELLS:
        why = f"{alphabet} symbols on {channels} channels make more than {MOST_CELLS} combinations"
        table.skip("channel-entropy", "bit", why, method=JOINT)
        return
    cells, seen = alphabet**channels, len(rows) * steps.shape[1]
    if cells > seen:
        why = f"{cells} combinations of symbols would need as many steps at least, and there are {seen}"
        table.skip("channel-entropy", "bit", why, method=JOINT)
        return
    symbols = honest.a.symbols[rows][:, steps].astype(np.int64)  # (attempts, channels, steps)
    together = np.tensordot(symbols, alphabet ** np.arange(channels), axes=(1, 0))
    subject = honest.subject[rows]

    def alone(measure: Callable[[Array, int], float]) -> Callable[[Array], float]:
        return lambda some: sum(measure(symbols[some, c], alphabet) for c in range(channels))

    def joint(measure: Callable[[Array, int], float]) -> Callable[[Array], float]:
        return lambda some: measure(together[some], alphabet**channels)

    def add(row: str, method: str, figure: Callable[[Array], float], side: str, reason: str) -> None:
        value, half = jackknife.over_people(figure, subject, level=_LEVEL)
        estimate = Estimate(
            value=value,
            low=value - half,
            high=value + half,
            level=_LEVEL,
            unit="bit",
            side=side,
            evidence="counted",
            subjects=len(np.unique(subject)),
            attempts=len(subject),
            method=method,
        )
        table.add(row, estimate, reason=reason)

    of = f"of one symbol of each of {channels} channels"
    hoped, held = alone(_min_entropy), joint(_min_entropy)
    add("channel-entropy", SUM, hoped, "defender-at-most", f"{of}, were they independent")
    add("channel-entropy", JOINT, held, "defender-at-most", f"{of}, as they come together")
    lost = "what the channels have in common, which a sum counts more than once"
    add("channel-overlap", "min-entropy", lambda some: hoped(some) - held(some), "estimate", lost)
    single, several = alone(_entropy), joint(_entropy)
    add("channel-overlap", "shannon", lambda some: single(some) - several(some), "estimate", lost)


def _steps(scheme: Any, honest: Honest) -> Array:
    """(channels, steps) places of each channel's symbols, in order; the rest of longer ones is left."""
    m = honest.a.symbols.shape[1]
    named = validate.channels(scheme.name, scheme.channels, m)
    places = [np.flatnonzero(named == c) for c in np.unique(named)]
    length = min(len(p) for p in places)
    return np.stack([p[:length] for p in places])


def _counts(values: Array, cells: int) -> Array:
    return np.bincount(values.ravel(), minlength=cells)


def _min_entropy(values: Array, cells: int) -> float:
    counts = _counts(values, cells)
    return float(np.log2(counts.sum()) - np.log2(counts.max()))


def _entropy(values: Array, cells: int) -> float:
    """Bits, with Miller and Madow's correction (from memory)."""
    counts = _counts(values, cells)
    share = counts[counts > 0] / counts.sum()
    return float(-(share * np.log2(share)).sum() + (len(share) - 1) / (2 * counts.sum() * np.log(2)))
