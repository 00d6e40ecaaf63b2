"""What a learned attack reads off its captures: the owner's features, early and late, of every view."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from attacks.channels import inputs_of
from attacks.lags import SEARCHED_ATTEMPTS, best_lag, candidate_lags, symbol_information
from attacks.quantising import drawn_rows, names_of, quantised, some_of
from harness.contracts import Array, Capture, Witness

__all__ = ["OFFSETS", "aligned", "lags_of", "own_columns", "strongest_first"]

OFFSETS = (0, -1, 1, -3, 3)
"""Steps of the lag search around the best lag at which features are read as well."""
_TELLS_NOTHING = 0.005
"""Bits per symbol below which a view, beside a stronger one, costs more to learn from than it brings."""


def lags_of(scheme: Any, captures: Mapping[str, Capture], true: Witness) -> dict[str, int]:
    """The lag of every role that served best on other people."""
    return {role: best_lag(scheme, capture, true) for role, capture in sorted(captures.items())}


def strongest_first(
    scheme: Any, captures: Mapping[str, Capture], lags: Mapping[str, int], true: Witness
) -> list[str]:
    """Roles by what hard decisions on them told of other people, without those that told nothing."""
    rows = drawn_rows(true, SEARCHED_ATTEMPTS)
    told = {}
    for role, lag in sorted(lags.items()):
        seen = quantised(scheme, some_of(captures[role], rows), lag=lag)
        told[role] = symbol_information(seen.symbols, true.symbols[rows], true.alphabet)
    ordered = sorted(told, key=lambda role: -told[role])
    return [r for i, r in enumerate(ordered) if i == 0 or told[r] > _TELLS_NOTHING]


def aligned(
    scheme: Any,
    captures: Mapping[str, Capture],
    lags: Mapping[str, int],
    roles: Sequence[str],
    *,
    offsets: Sequence[int] = OFFSETS,
) -> Witness:
    """Several views as one witness with many features: the owner's, at and around the lag of each view.

    Parameters
    ----------
    scheme : Scheme
        Whose quantiser is used.
    captures : mapping
        By role, row for row the same attempts.
    lags : mapping
        By role, from `lags_of`.
    roles : sequence of str
        At least one; symbols are those of the first at its lag.
    offsets : sequence of int
        The first is 0.

    Returns
    -------
    Witness
        Features (attempts, m, f), finite; first those of the first role at its lag (see `own_columns`): the
        quantiser's or, without any, symbols as indicators. Then of each role the same at its lag, here and
        next to here, at the other offsets, here alone, and whether its capture sufficed.
    """
    found: list[Array] = []
    seen: list[Witness] = []
    for role in roles:
        names = names_of(captures[role])
        at = [
            quantised(scheme, captures[role], lag=lags[role] + moved, names=names)
            for moved in _around(captures[role], offsets)
        ]
        if not found:
            found.append(_features(at[0]))
        found += [inputs_of(at[0]), *(_features(w) for w in at[1:])]
        enough = np.repeat(at[0].acquired[:, None], at[0].symbols.shape[1], axis=1)
        found.append(enough[:, :, None].astype(float))
        seen.append(at[0])
    first = seen[0]
    return Witness(
        symbols=first.symbols,
        alphabet=first.alphabet,
        acquired=first.acquired,
        features=np.concatenate(found, axis=2),
    )


def own_columns(scheme: Any, capture: Capture) -> int:
    """How many features of an aligned witness are those of its first role at its lag."""
    width: int = _features(quantised(scheme, some_of(capture, np.arange(1)))).shape[2]
    return width


def _features(seen: Witness) -> Array:
    features = seen.features
    if features is None:
        features = np.eye(seen.alphabet)[seen.symbols]
    return np.where(np.isfinite(features), features, 0.0)


def _around(capture: Capture, offsets: Sequence[int]) -> list[int]:
    """Offsets in samples, or in events; too slow a series has none but 0."""
    lags = np.sort(candidate_lags(capture))
    return [offset * int(np.diff(lags).min()) for offset in offsets] if len(lags) > 1 else [0]
