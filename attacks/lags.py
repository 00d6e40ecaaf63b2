"""Lag search: whoever senses from elsewhere is early or late, and looks for by how much."""

from __future__ import annotations

from typing import Any

import numpy as np

from harness.contracts import Array, Capture, Witness

__all__ = ["best_lag", "candidate_lags", "quantised", "shifted", "some_of", "symbol_information"]

ROWS_AT_ONCE = 50  # attempts quantised at once: temporaries that fit a cache are several times faster
SEARCHED_ATTEMPTS = 48  # of other people; the lag is one number, and needs few
SERIES_LAGS_S = tuple(round(0.05 * i, 2) for i in range(-4, 11))  # -0.2 s .. 0.5 s: a copying hand is late
EVENT_LAGS = (-2, -1, 0, 1, 2)


def candidate_lags(capture: Capture) -> tuple[int, ...]:
    """Lags worth trying, in samples or, for an event series, in events; 0 first."""
    lags = EVENT_LAGS if capture.rate_hz is None else [round(s * capture.rate_hz) for s in SERIES_LAGS_S]
    return tuple(sorted(set(lags), key=abs))


def quantised(scheme: Any, capture: Capture, *, lag: int = 0) -> Witness:
    """What the scheme's own quantiser makes of a capture `lag` samples later, in small batches."""
    rows = len(capture.samples)
    parts = [
        scheme.witness(shifted(some_of(capture, np.arange(i, min(i + ROWS_AT_ONCE, rows))), lag))
        for i in range(0, rows, ROWS_AT_ONCE)
    ]
    features = [p.features for p in parts if p.features is not None]
    return Witness(
        symbols=np.concatenate([p.symbols for p in parts]),
        alphabet=parts[0].alphabet,
        acquired=np.concatenate([p.acquired for p in parts]),
        features=np.concatenate(features) if len(features) == len(parts) else None,
    )


def some_of(capture: Capture, rows: Array) -> Capture:
    """Some rows of a capture."""
    return Capture(
        samples=capture.samples[rows],
        rate_hz=capture.rate_hz,
        signal=capture.signal,
        unit=capture.unit,
        seconds=None if capture.seconds is None else capture.seconds[rows],
    )


def shifted(capture: Capture, lag: int) -> Capture:
    """The capture `lag` samples later: sample t of it is sample t + lag; the edge repeats."""
    if lag == 0:
        return capture
    x = capture.samples
    index = np.clip(np.arange(x.shape[2]) + lag, 0, x.shape[2] - 1)
    return Capture(
        samples=x[:, :, index],
        rate_hz=capture.rate_hz,
        signal=capture.signal,
        unit=capture.unit,
        seconds=capture.seconds,
    )


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
    rows = np.unique(np.linspace(0, len(true.acquired) - 1, SEARCHED_ATTEMPTS).astype(int))
    few = some_of(capture, rows)
    best, most = 0, -np.inf
    for lag in candidate_lags(capture):
        seen = quantised(scheme, few, lag=lag)
        said = symbol_information(seen.symbols, true.symbols[rows], true.alphabet)
        if said > most:
            best, most = lag, said
    return best
