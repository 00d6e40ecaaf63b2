"""Schemes put together of a quantiser, a sketch and a key extraction, each by name and parameters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from harness.contracts import Array, Capture, Helper, Linear, Witness
from harness.plugins import nearest
from schemes.assisted import Assisted
from schemes.joining import joined, usual
from schemes.parity_agreement import ParityAgreement
from schemes.quantisers import EachChannel, Quantiser, quantiser_named, quantiser_parameters
from schemes.vault_commitment import VaultCommitment

__all__ = ["Agreed", "Committed", "Composed", "composed"]

_NEEDED = ("name", "signal", "key_bits", "quantiser.kind")
_WORDS = (
    "name",
    "signal",
    "quantiser.kind",
    "sketch.kind",
    "sketch.code",
    "assistance.kind",
    "extraction.kind",
)
_UNITS = {"emg": "uV", "intervals": "s", "acceleration": "g"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parts:
    """What all of them share: names, parameters, and the quantiser."""

    name: str
    signal: str
    key_bits: int
    chosen: tuple[tuple[str, Any], ...]  # every parameter by its dotted name, as "quantiser.window_s"
    summary: str = ""
    quantiser: Quantiser = field(repr=False, compare=False)
    behind: Any = field(repr=False, compare=False)  # one of `schemes.joining.Joined`

    @property
    def parameters(self) -> dict[str, Any]:
        """Every parameter by its dotted name, for records and sweeps."""
        return {"key_bits": self.key_bits, **dict(self.chosen)}

    @property
    def extraction(self) -> str:
        """Kind of the key extraction."""
        return str(dict(self.chosen)["extraction.kind"])

    def with_parameters(self, **changes: Any) -> Any:
        """The same scheme with other parameters, by dotted name, or another `name`."""
        kept = {"name": self.name, "signal": self.signal, **self.parameters}
        return composed(kept, summary=self.summary, **changes)

    def witness(self, capture: Capture) -> Witness:
        """Symbols (attempts, m), m being fixed by sketch and labels."""
        if capture.signal != self.signal:
            raise ValueError(
                f"{self.name} must be given a capture of {self.signal!r}, got {capture.signal!r}"
            )
        return self.quantiser.quantise(capture, self.behind.symbols)

    @property
    def channels(self) -> Array:
        """(m,) int: the channel of each symbol."""
        m = self.behind.symbols
        if isinstance(self.quantiser, EachChannel):
            return self.quantiser.channels_of(m)
        return np.zeros(m, np.intp)

    def sensing_seconds(self, capture: Capture) -> Array:
        """(attempts,) seconds of a capture that the witness needs."""
        return self.quantiser.seconds(capture, self.behind.symbols)


@dataclass(frozen=True, slots=True, kw_only=True)
class Committed(_Parts):
    """Quantiser, vault and key extraction, chosen by name; see `composed`."""

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits) uint8, and what it publishes."""
        keys, helper = self.behind.generate(witness, rng=rng)
        return keys, helper

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys, and accepted: acquired, and corrected."""
        keys, accepted = self.behind.reproduce(witness, helper)
        return keys, accepted


@dataclass(frozen=True, slots=True, kw_only=True)
class Vaulted(Committed):
    """With a vault, whose points are public; see `composed`."""

    @property
    def needed(self) -> int:
        """Features of A that open the vault."""
        return int(self.behind.needed)

    def listed(self, helper: Helper) -> Array:
        """(attempts, points) features among which those of A lie."""
        return np.asarray(self.behind.listed(helper))


@dataclass(frozen=True, slots=True, kw_only=True)
class Composed(Committed):
    """Quantiser, sketch and key extraction, chosen by name; see `composed`."""

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        return self.quantiser.labels

    @property
    def corrects(self) -> int:
        """Wrong bits in every block that are corrected whatever their places."""
        return int(self.behind.corrects)

    def linear(self, helper: Helper) -> Linear:
        """What the sketch says about the witness bits."""
        told: Linear = self.behind.linear(helper)
        return told

    def finish(self, secret: Array, helper: Helper) -> Array:
        """Keys of secrets (attempts, blocks * k)."""
        return np.asarray(self.behind.finish(secret, helper))


@dataclass(frozen=True, slots=True, kw_only=True)
class HelpedComposed(Composed):
    """With what A publishes about its features; see `composed`."""

    def assisted(self, witness: Witness, helper: Helper) -> Witness:
        """Any witness, read with what A publishes."""
        read: Witness = self.behind.assisted(witness, helper)
        return read


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreed(_Parts):
    """Quantiser, reconciliation in rounds and key extraction, chosen by name; see `composed`."""

    def agree(
        self, a: Witness, b: Witness, *, rng: np.random.Generator
    ) -> tuple[Array, Array, Array, Helper]:
        """Keys of A, keys of B, accepted, and every message."""
        mine, theirs, accepted, helper = self.behind.agree(a, b, rng=rng)
        return mine, theirs, accepted, helper

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """What somebody gets who only listened, which turns beliefs about the witness into keys."""
        keys, accepted = self.behind.overhear(witness, helper)
        return keys, accepted

    def sharpen(self, log_prob: Array, helper: Helper) -> Array:
        """What a belief about A's witness becomes by all that was said."""
        sharper: Array = self.behind.sharpen(log_prob, helper)
        return sharper


def composed(tree: Mapping[str, Any], *, summary: str = "", **changes: Any) -> Committed | Agreed:
    """Compose a scheme.

    Parameters
    ----------
    tree : mapping
        "name", "signal" and "key_bits"; "quantiser" with its "kind" and parameters; what differs from
        `schemes.joining.usual` in "sketch", "assistance" and "extraction". Dotted names do as well, as in
        {"sketch.blocks": 11}.
    summary : str
        What it is, in a line.
    **changes
        Other values of the same, by dotted name.

    Returns
    -------
    Composed, Committed or Agreed
        With a disclosure, with helper data that are not linear, or of several rounds.

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
    behind = usual(flat.get("sketch.kind", "code-offset"), flat.get("assistance.kind", "none"))
    known = {"quantiser.kind": kind, **_below("quantiser", quantiser_parameters(kind)), **behind}
    for label in flat:
        if label not in known and label not in _NEEDED:
            raise ValueError(
                f"there is no parameter {label!r} of this scheme; {nearest(label, [*known, *_NEEDED])}"
            )
    whole = {**known, **flat}
    if isinstance(whole["key_bits"], bool):
        raise ValueError(f"`key_bits` must be a whole number, got {whole['key_bits']!r}")
    quantiser = quantiser_named(**_section("quantiser", whole))
    _served(quantiser, whole["signal"])
    one_channel = quantiser.inner if isinstance(quantiser, EachChannel) else quantiser
    parts = joined(whole, labels=quantiser.labels, key_bits=whole["key_bits"])
    made: type[Committed | Agreed] = Composed
    if isinstance(parts, ParityAgreement):
        made = Agreed
    elif isinstance(parts, VaultCommitment):
        made = Vaulted
    elif isinstance(parts, Assisted):
        made = HelpedComposed
    return made(
        name=whole["name"],
        signal=whole["signal"],
        key_bits=whole["key_bits"],
        # of the quantiser as it took them: a list is a tuple by then
        chosen=tuple(
            (label, getattr(one_channel, label.removeprefix("quantiser."), value))
            for label, value in whole.items()
            if "." in label
        ),
        summary=summary,
        quantiser=quantiser,
        behind=parts,
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
