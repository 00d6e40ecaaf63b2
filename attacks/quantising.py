"""The owner's quantiser on an adversary's captures, each attempt once."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any, TypeAlias

import cloudpickle
import numpy as np

from harness.contracts import Array, Capture, Witness

__all__ = ["drawn_rows", "names_of", "quantised", "shifted", "some_of"]

_Row: TypeAlias = tuple[Array, int, Array, Array | None]
_Key: TypeAlias = tuple[type, bytes, int, bytes]
_MOST_BYTES = 2**28
_SEEN: dict[_Key, _Row] = {}
"""What a scheme made of an attempt before. Folds share most of their people and attacks their roles, and a
witness depends on its own attempt alone, so this saves most of the time of an audit and changes no number:
attempts are quantised one by one, whatever else was asked for. Only a scheme whose every call is dear asks,
by `whole_batches`, for all at once that were not seen before."""


def drawn_rows(true: Witness, count: int) -> Array:
    """At most `count` attempts to learn from, in order: those whose symbols hash to the least.

    As good as drawn at random, and the same attempts for whoever asks: folds share most of their people, so
    that most of what one fold quantised serves the next.

    Parameters
    ----------
    true : Witness
        Of other people's device A.
    count : int
    """
    marks = [hashlib.sha256(row.tobytes()).digest() for row in true.symbols]
    seen: dict[bytes, int] = {}
    turns = []  # what is there again, as with several attackers on one attempt, comes after all others
    for mark in marks:
        turns.append(seen.get(mark, 0))
        seen[mark] = turns[-1] + 1
    least = sorted(range(len(marks)), key=lambda i: (turns[i], marks[i], i))[:count]
    return np.sort(np.array(least, np.intp))


def names_of(capture: Capture) -> list[bytes]:
    """A name for each attempt, by all that its capture holds."""
    shape = capture.samples.shape[1:]
    kind = f"{capture.rate_hz} {capture.signal} {capture.unit} {shape}".encode()
    names = []
    for i, samples in enumerate(capture.samples):
        name = hashlib.sha256(kind)
        name.update(samples.tobytes())
        if capture.seconds is not None:
            name.update(capture.seconds[i].tobytes())
        names.append(name.digest())
    return names


def quantised(
    scheme: Any, capture: Capture, *, lag: int = 0, names: Sequence[bytes] | None = None
) -> Witness:
    """What the scheme's own quantiser makes of a capture `lag` samples later.

    Parameters
    ----------
    scheme : Scheme
    capture : Capture
    lag : int
        Samples or, for an event series, events.
    names : sequence of bytes, optional
        Of the attempts, from `names_of`: who tries several lags need not read the capture again for each.

    Returns
    -------
    Witness
    """
    state = _state(scheme)
    names = names_of(capture) if names is None else names
    if state is not None and getattr(scheme, "whole_batches", False) is True:
        _at_once(scheme, capture, [(type(scheme), state, lag, name) for name in names])
    rows = []
    for i, name in enumerate(names):
        key = None if state is None else (type(scheme), state, lag, name)
        made = None if key is None else _SEEN.get(key)
        if made is None:
            made = _one(scheme, shifted(some_of(capture, np.array([i])), lag))
            if key is not None:
                _keep(key, made)
        rows.append(made)
    features = [f for *_, f in rows if f is not None]
    return Witness(
        symbols=np.stack([symbols for symbols, *_ in rows]),
        alphabet=rows[0][1],
        acquired=np.array([bool(enough) for _, _, enough, _ in rows]),
        features=np.stack(features) if len(features) == len(rows) else None,
    )


def _at_once(scheme: Any, capture: Capture, keys: Sequence[_Key]) -> None:
    new = {key: i for i, key in enumerate(keys) if key not in _SEEN}
    if new:
        lag = keys[0][2]
        made = scheme.witness(shifted(some_of(capture, np.array(list(new.values()))), lag))
        for row, key in enumerate(new):
            _keep(key, _row(made, row))


def _one(scheme: Any, capture: Capture) -> _Row:
    return _row(scheme.witness(capture), 0)


def _row(made: Witness, row: int) -> _Row:
    features = None if made.features is None else np.array(made.features[row])
    return np.array(made.symbols[row]), made.alphabet, np.array(made.acquired[row]), features


def _keep(key: _Key, made: _Row) -> None:
    size = made[0].nbytes + (0 if made[3] is None else made[3].nbytes)
    if len(_SEEN) * size > _MOST_BYTES:
        _SEEN.clear()
    _SEEN[key] = made


def _state(scheme: Any) -> bytes | None:
    """What tells two schemes of one class apart; None if that cannot be said, and nothing is remembered."""
    try:
        return bytes(cloudpickle.dumps(scheme))
    except Exception:  # noqa: BLE001 - a stranger's parts may raise anything
        return None


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
