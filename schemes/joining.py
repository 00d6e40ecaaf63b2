"""What stands behind a quantiser, by the kind of its sketch: a commitment, a vault, an agreement in rounds.

`usual` says which parameters there are, `joined` puts the parts together.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, TypeAlias

from harness.contracts import Array
from schemes.assisted import Assistance, Assisted
from schemes.commitment import Commitment, commitment
from schemes.extraction import extraction_named
from schemes.guard_bands import GuardBands
from schemes.parity_agreement import ParityAgreement, parity_agreement
from schemes.quantisers.checks import whole_number
from schemes.sketches import SKETCHES
from schemes.vault import PolynomialVault
from schemes.vault_commitment import VaultCommitment
from schemes.zero_leakage import CellPositions

__all__ = ["ASSISTANCE", "KINDS", "Joined", "joined", "usual"]

Joined: TypeAlias = Commitment | Assisted | VaultCommitment | ParityAgreement

_CODED: Mapping[str, Any] = MappingProxyType({"code": "golay-24-12", "blocks": 1, "straddle": False})
KINDS: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        **dict.fromkeys(SKETCHES, _CODED),
        "vault": {"secret_symbols": 8, "points": 224, "universe": 255, "m": 16, "size": 40},
        "parity-rounds": {
            "bits": 256,
            "error_rate": 0.08,
            "rounds": 4,
            "check_bits": 32,
            "spare_bits": 0,
        },
    }
)
"""Kinds of sketch, their parameters and what these are if nothing is said."""

ASSISTANCE: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {"none": {}, "guard-bands": {"features": 256}, "cell-positions": {"correlation": 1.0}}
)
"""Kinds of help that A publishes about its features, and their parameters."""


def usual(sketch: str, assistance: str) -> dict[str, Any]:
    """Parameters behind the quantiser, by dotted name.

    Raises
    ------
    ValueError
        If a kind is unknown; the message gives the nearest.
    """
    found: dict[str, Any] = {}
    for section, kind, known in (("sketch", sketch, KINDS), ("assistance", assistance, ASSISTANCE)):
        if kind not in known:
            near = difflib.get_close_matches(kind, known, n=1, cutoff=0)[0]
            raise ValueError(
                f"`{section}` must be one of {', '.join(known)}, got {kind!r}; the nearest is {near!r}"
            )
        found[f"{section}.kind"] = kind
        found |= {f"{section}.{key}": value for key, value in known[kind].items()}
    return {**found, "extraction.kind": "hkdf"}


def joined(flat: Mapping[str, Any], *, labels: Array, key_bits: int) -> Joined:
    """The part of a scheme behind its quantiser.

    Parameters
    ----------
    flat : mapping
        Every parameter of `usual`.
    labels : uint8, shape (alphabet, bits)
        Witness bits of every symbol.
    key_bits : int

    Raises
    ------
    ValueError
        If parts or numbers do not fit.
    """
    kind, helped = flat["sketch.kind"], flat["assistance.kind"]
    own = {key: flat[f"sketch.{key}"] for key in KINDS[kind]}
    if kind in ("vault", "parity-rounds") and helped != "none":
        raise ValueError(f"`assistance` must be 'none' beside a sketch of {kind!r}, got {helped!r}")
    if kind == "parity-rounds":
        for key in ("bits", "rounds", "check_bits", "spare_bits"):
            whole_number(f"sketch.{key}", own[key], 0)
        extraction = flat["extraction.kind"]
        return parity_agreement(labels=labels, extraction=extraction, key_bits=key_bits, **own)
    if kind == "vault":
        for key, value in own.items():
            whole_number(f"sketch.{key}", value, 1)
        if len(labels) != 2:
            raise ValueError(
                f"a vault needs a quantiser whose symbols say whether a feature is there, 0 or 1, got "
                f"{len(labels)} symbols"
            )
        size = own.pop("size")
        return VaultCommitment(
            vault=PolynomialVault(**own),
            extraction=extraction_named(flat["extraction.kind"]),
            key_bits=key_bits,
            size=size,
        )
    if not isinstance(own["straddle"], bool):
        raise ValueError(f"`sketch.straddle` must be true or false, got {own['straddle']!r}")
    committed = commitment(
        labels=labels, sketch=kind, extraction=flat["extraction.kind"], key_bits=key_bits, **own
    )
    help_given = _assistance(helped, flat, len(labels))
    return committed if help_given is None else Assisted(commitment=committed, assistance=help_given)


def _assistance(kind: str, flat: Mapping[str, Any], levels: int) -> Assistance | None:
    if kind == "guard-bands":
        return GuardBands(features=flat["assistance.features"], levels=levels)
    if kind == "cell-positions":
        return CellPositions(levels=levels, correlation=flat["assistance.correlation"])
    return None
