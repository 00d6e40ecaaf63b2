"""Lag search: whoever senses from elsewhere is early or late, and looks for by how much."""

from __future__ import annotations

from typing import Any

import numpy as np

from attacks.quantising import drawn_rows, names_of, quantised, some_of
from harness.contracts import Array, Capture, Witness

__all__ = ["best_lag", "candidate_lags", "symbol_information"]

SEARCHED_ATTEMPTS = 48  # of other people; the lag is one number, and needs few
SERIES_LAGS_S = tuple(round(0.05 * i, 2) for i in range(-4, 11))  # -0.2 s .. 0.5 s: a copying hand is late
EVENT_LAGS = (-2, -1, 0, 1, 2)


def candidate_lags(capture: Capture) -> tuple[int, ...]:
    """Lags worth trying, in samples or, for an event series, in events; 0 first."""
    lags = EVENT_LAGS if capture.rate_hz is None else [round(s * capture.rate_hz) for s in SERIES_LAGS_S]
    return tuple(sorted(set(lags), key=abs))


def symbol_information(seen: Array, true: Array, alphabet: int) -> float:
    """Plug-in mutual information of two symbol arrays with the Miller–Madow correction, bits.

    References
    ----------
    Miller (1955): the plug-in entropy is short by (cells - 1) / (2 n) nats (from memory).
    """
    joint = np.bincount(seen.ravel().astype(np.intp) * alphabet + true.ravel(), minlength=alphabet**2)
    table = joint.reshape(alphabet, alphabet) / max(1, joint.sum())
    expected = table.sum(axis=1, keepdims=True) * table.sum(axis=0, keepdims=True)
    filled = table > 0
    plain = float((table[filled] * np.log2(table[filled] / expected[filled])).sum())
    cells = filled.sum() - (table.sum(axis=1) > 0).sum() - (table.sum(axis=0) > 0).sum() + 1
    return plain - float(cells) / (2 * max(1, int(joint.sum())) * float(np.log(2)))


def best_lag(scheme: Any, capture: Capture, true: Witness) -> int:
    """The lag at which other people's captures say most about their witnesses.

    Parameters
    ----------
    scheme : Scheme
        Whose quantiser is used.
    capture : Capture
        What the adversary sensed of other people.
    true : Witness
        Their device A's, row for row.
    """
    rows = drawn_rows(true, SEARCHED_ATTEMPTS)
    few = some_of(capture, rows)
    names = names_of(few)
    best, most = 0, -np.inf
    for lag in candidate_lags(capture):
        seen = quantised(scheme, few, lag=lag, names=names)
        said = symbol_information(seen.symbols, true.symbols[rows], true.alphabet)
        if said > most:
            best, most = lag, said
    return best
