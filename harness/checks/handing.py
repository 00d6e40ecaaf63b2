"""What is handed to a plug-in under check: copies, writeable or read-only, and plain helper data."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from harness.contracts import Array, Capture, Exchange, Helper, View, Witness, frozen

__all__ = ["bytes_of", "exposed", "plain", "read_only", "rows_of", "sealed", "stored", "writeable"]


def writeable(value: Any) -> Any:
    """A copy in which every array can be written to, as a plug-in could make it by itself."""
    return _copied(value, np.array)


def read_only(value: Any) -> Any:
    """A copy in which no array can be written to, as the harness hands it over."""
    return _copied(value, lambda array: frozen(np.array(array)))


def _copied(value: Any, copy: Any) -> Any:
    if isinstance(value, np.ndarray):
        return copy(value)
    if isinstance(value, Mapping):
        return {k: _copied(v, copy) for k, v in value.items()}
    if isinstance(value, Capture | Witness):
        made = object.__new__(type(value))
        for f in fields(value):  # past the constructor, which would switch the write flag off
            object.__setattr__(made, f.name, _copied(getattr(value, f.name), copy))
        return made
    return value


def exposed(value: Any) -> Any:
    """A View or Exchange in which every array can be written to; its scheme and device are the same."""
    return _of_view(value, writeable)


def sealed(value: Any) -> Any:
    """A copy of a View or Exchange, read-only as the harness hands it over."""
    return _of_view(value, read_only)


def _of_view(value: Any, copy: Any) -> Any:
    if not isinstance(value, View | Exchange):
        return value if getattr(value, "watches", False) else copy(value)
    made = object.__new__(type(value))
    for f in fields(value):  # past the constructor, which would switch the write flag off
        object.__setattr__(made, f.name, _of_view(getattr(value, f.name), copy))
    return made


def bytes_of(value: Any, path: str = "") -> dict[str, bytes]:
    """The bytes of every array in a value, by where it stands."""
    if isinstance(value, np.ndarray):
        return {path: np.ascontiguousarray(value).tobytes() + str((value.shape, value.dtype)).encode()}
    inside: dict[str, Any] = {}
    if isinstance(value, Mapping):
        inside = {str(k): v for k, v in value.items()}
    elif is_dataclass(value) and not isinstance(value, type):
        inside = {f.name: getattr(value, f.name) for f in fields(value)}
    found: dict[str, bytes] = {}
    for name, part in inside.items():
        found |= bytes_of(part, f"{path}.{name}" if path else name)
    return found


def plain(helper: Helper) -> dict[str, Array]:
    """Copies of the arrays alone, whatever their mapping and their classes were."""
    return {str(name): np.array(array, subok=False) for name, array in helper.items()}


def stored(helper: Helper) -> dict[str, Array]:
    """Helper data as they come back from a file."""
    found: dict[str, Array] = {}
    for name, array in helper.items():
        body = io.BytesIO()
        np.save(body, np.asarray(array), allow_pickle=False)
        body.seek(0)
        found[str(name)] = np.load(body, allow_pickle=False)
    return found


def rows_of(value: Any, rows: Array) -> Any:
    """Some attempts of a capture, a witness or helper data, in that order."""
    if isinstance(value, Capture):
        return Capture(
            samples=value.samples[rows],
            rate_hz=value.rate_hz,
            signal=value.signal,
            unit=value.unit,
            seconds=None if value.seconds is None else value.seconds[rows],
        )
    if isinstance(value, Witness):
        return Witness(
            symbols=value.symbols[rows],
            alphabet=value.alphabet,
            acquired=value.acquired[rows],
            features=None if value.features is None else value.features[rows],
        )
    return {name: array[rows] for name, array in value.items()}
