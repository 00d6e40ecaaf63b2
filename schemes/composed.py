"""Schemes put together of a quantiser, a sketch and a key extraction, each by name and parameters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from harness.contracts import Array, Capture, Helper, Linear, Witness
from harness.plugins import nearest
from schemes.commitment import Commitment, commitment
from schemes.quantisers import Quantiser, quantiser_named, quantiser_parameters

__all__ = ["USUAL", "Composed", "composed"]

USUAL: Mapping[str, Any] = MappingProxyType(
    {
        "sketch.kind": "code-offset",
        "sketch.code": "golay-24-12",
        "sketch.blocks": 1,
        "sketch.straddle": False,
        "extraction.kind": "hkdf",
    }
)
"""Parameters of sketch and extraction, and what they are if nothing is said."""

_NEEDED = ("name", "signal", "key_bits", "quantiser.kind")
_WORDS = ("name", "signal", "quantiser.kind", "sketch.kind", "sketch.code", "extraction.kind")
_UNITS = {"emg": "uV", "intervals": "s", "acceleration": "g"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Composed:
    """Quantiser, sketch and key extraction, chosen by name; see `composed`."""

    name: str
    signal: str
    key_bits: int
    chosen: tuple[tuple[str, Any], ...]  # every parameter by its dotted name, as "quantiser.window_s"
    summary: str = ""
    quantiser: Quantiser = field(repr=False, compare=False)
    commitment: Commitment = field(repr=False, compare=False)

    @property
    def parameters(self) -> dict[str, Any]:
        """Every parameter by its dotted name, for records and sweeps."""
        return {"key_bits": self.key_bits, **dict(self.chosen)}

    def with_parameters(self, **changes: Any) -> Composed:
        """The same scheme with other parameters, by dotted name, or another `name`."""
        kept = {"name": self.name, "signal": self.signal, **self.parameters}
        return composed(kept, summary=self.summary, **changes)

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        return self.quantiser.labels

    def witness(self, capture: Capture) -> Witness:
        """Symbols (attempts, m), m being fixed by sketch and labels."""
        if capture.signal != self.signal:
            raise ValueError(
                f"{self.name} must be given a capture of {self.signal!r}, got {capture.signal!r}"
            )
        return self.quantiser.quantise(capture, self.commitment.symbols)

    def sensing_seconds(self, capture: Capture) -> Array:
        """(attempts,) seconds of a capture that the witness needs."""
        return self.quantiser.seconds(capture, self.commitment.symbols)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits) uint8, and what it publishes."""
        return self.commitment.generate(witness, rng=rng)

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys, and accepted: acquired, and every block corrected."""
        return self.commitment.reproduce(witness, helper)

    def linear(self, helper: Helper) -> Linear:
        """What the sketch says about the witness bits."""
        return self.commitment.linear(helper)

    def finish(self, secret: Array, helper: Helper) -> Array:
        """Keys of secrets (attempts, blocks * k)."""
        return self.commitment.finish(secret, helper)


def composed(tree: Mapping[str, Any], *, summary: str = "", **changes: Any) -> Composed:
    """Compose a scheme.

    Parameters
    ----------
    tree : mapping
        "name", "signal" and "key_bits"; "quantiser" with its "kind" and parameters; and what differs from
        `USUAL` in "sketch" and "extraction". Dotted names do as well, as in {"sketch.blocks": 11}.
    summary : str
        What it is, in a line.
    **changes
        Other values of the same, by dotted name.

    Raises
    ------
    ValueError
        One sentence, if something is unknown, missing, or cannot be.

    Examples
    --------
    >>> made = composed({"name": "x", "signal": "emg", "key_bits": 12, "quantiser": {"kind": "level"}})
    >>> made.with_parameters(**{"quantiser.levels": 8}).labels.shape
    (8, 3)
    """
    flat = _flat(tree) | changes
    for label in _NEEDED:
        if label not in flat:
            raise ValueError(f"{label!r} must be given, found {', '.join(flat) or 'nothing'}")
    for label in _WORDS:
        if label in flat and not isinstance(flat[label], str):
            raise ValueError(f"`{label}` must be a word in quotes, got {flat[label]!r}")
    kind = flat["quantiser.kind"]
    usual = {"quantiser.kind": kind, **_below("quantiser", quantiser_parameters(kind)), **USUAL}
    for label in flat:
        if label not in usual and label not in _NEEDED:
            known = [*usual, *_NEEDED]
            raise ValueError(f"there is no parameter {label!r} of this scheme; {nearest(label, known)}")
    whole = {**usual, **flat}
    if not isinstance(whole["sketch.straddle"], bool):
        raise ValueError(f"`sketch.straddle` must be true or false, got {whole['sketch.straddle']!r}")
    if isinstance(whole["key_bits"], bool):
        raise ValueError(f"`key_bits` must be a whole number, got {whole['key_bits']!r}")
    quantiser = quantiser_named(**_section("quantiser", whole))
    _served(quantiser, whole["signal"])
    return Composed(
        name=whole["name"],
        signal=whole["signal"],
        key_bits=whole["key_bits"],
        # of the quantiser as it took them: a list is a tuple by then
        chosen=tuple(
            (label, getattr(quantiser, label.removeprefix("quantiser."), value))
            for label, value in whole.items()
            if "." in label
        ),
        summary=summary,
        quantiser=quantiser,
        commitment=commitment(
            labels=quantiser.labels,
            blocks=whole["sketch.blocks"],
            straddle=whole["sketch.straddle"],
            sketch=whole["sketch.kind"],
            code=whole["sketch.code"],
            extraction=whole["extraction.kind"],
            key_bits=whole["key_bits"],
        ),
    )


def _flat(tree: Mapping[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in tree.items():
        flat |= _below(key, value) if isinstance(value, Mapping) else {key: value}
    return flat


def _below(section: str, held: Mapping[str, Any]) -> dict[str, Any]:
    return {f"{section}.{key}": value for key, value in held.items()}


def _section(section: str, flat: Mapping[str, Any]) -> dict[str, Any]:
    return {k.removeprefix(f"{section}."): v for k, v in flat.items() if k.startswith(f"{section}.")}


def _served(quantiser: Quantiser, signal: str) -> None:
    """Refuse a quantiser that cannot read the signal, before anything runs."""
    units = getattr(quantiser, "units", None)
    if units is not None and signal in _UNITS and _UNITS[signal] not in units:
        fitting = [s for s, unit in _UNITS.items() if unit in units]
        raise ValueError(
            f"`signal` must be one that the quantiser reads, {' or '.join(fitting)}, got {signal!r}"
        )
