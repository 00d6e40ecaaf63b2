"""Blanks of the sensors that an attack may write to, and checks of what it hands back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from harness.cache import Captures
from harness.contracts import DEVICE_A, DEVICE_B, Array, Capture
from harness.errors import ContractError
from harness.exchange import Honest, signal_of
from harness.view import needs, streams_of

__all__ = ["added_samples", "blanks", "device_streams", "noted", "sittings_of"]


def device_streams(scheme: Any) -> dict[str, str]:
    """Role -> stream of both devices."""
    return {role: f"{role}:{signal_of(scheme, role)}" for role in (DEVICE_A, DEVICE_B)}


def blanks(
    attack: Any, scheme: Any, honest: Honest, captures: Captures, attempts: Array
) -> dict[str, Capture]:
    """By role, captures of nothing: both devices' and those of what the attack itself senses."""
    return {
        role: _blank(honest, captures, attempts, name)
        for role, name in _sensors(attack, scheme, captures).items()
    }


def _sensors(attack: Any, scheme: Any, captures: Captures) -> dict[str, str]:
    """Role -> stream of both devices and of what the attack itself senses."""
    found = device_streams(scheme)
    for role in sorted(needs(attack)[0]):
        found |= streams_of(captures, scheme, role)
    return found


def sittings_of(honest: Honest, attempts: Array) -> list[tuple[int, Array]]:
    """Each sitting with the places of its attempts, in order."""
    sitting = honest.sitting[attempts]
    return [(int(s), np.flatnonzero(sitting == s)) for s in np.unique(sitting)]


def _blank(honest: Honest, captures: Captures, attempts: Array, name: str) -> Capture:
    """A capture of nothing, as long as the longest of these attempts' own."""
    found = [captures.of(int(s), name) for s in np.unique(honest.sitting[attempts])]
    stored = [c for c in found if c is not None]
    if not stored:
        return Capture(samples=np.zeros((len(attempts), 1, 1)), rate_hz=None, signal="none", unit="1")
    shapes = [np.load(c.path, mmap_mode="r", allow_pickle=False).shape for c in stored]
    nothing = np.zeros((len(attempts), shapes[0][1], max(s[2] for s in shapes)))
    return Capture(samples=nothing, rate_hz=stored[0].rate_hz, signal=stored[0].signal, unit=stored[0].unit)


def added_samples(name: str, wanted: object, blanks: Mapping[str, Capture]) -> dict[str, Array]:
    if not isinstance(wanted, Mapping):
        raise ContractError(name, "interfere()", "a mapping of roles to captures", type(wanted).__name__)
    found = {}
    for role, capture in wanted.items():
        if role not in blanks:
            raise ContractError(name, "interfere()", f"about {', '.join(blanks)}", repr(role))
        samples = getattr(capture, "samples", None)
        shape = blanks[role].samples.shape
        if not isinstance(samples, np.ndarray) or samples.shape != shape:
            got = str(getattr(samples, "shape", type(capture).__name__))
            raise ContractError(name, "interfere()", f"samples of shape {shape} for {role}", got)
        if not np.issubdtype(samples.dtype, np.floating) or not np.isfinite(samples).all():
            raise ContractError(name, "interfere()", f"finite real samples for {role}", str(samples.dtype))
        found[str(role)] = samples
    return found


def noted(name: str, notes: object, rows: int) -> dict[str, Array]:
    if not isinstance(notes, Mapping):
        raise ContractError(name, "interfere()", "a mapping of notes", type(notes).__name__)
    for key, value in notes.items():
        if not isinstance(value, np.ndarray) or value.ndim == 0 or len(value) != rows:
            got = str(getattr(value, "shape", type(value).__name__))
            raise ContractError(name, "interfere()", f"notes of {rows} rows, as {key!r}", got)
    return {str(k): v for k, v in notes.items()}
