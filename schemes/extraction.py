"""From the reconciled secret to the key.

References
----------
Krawczyk and Eronen, RFC 5869 (2010): HKDF.
Krawczyk, CRYPTO 1994, and Bennett, Brassard, Crepeau and Maurer, IEEE Trans. Inform. Theory 41
(1995) 1915-1923: Toeplitz hashing and privacy amplification (from memory).
"""

from __future__ import annotations

import difflib
import hashlib
import hmac
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar, Protocol, runtime_checkable

import numpy as np

from harness.contracts import Array, Helper

__all__ = ["EXTRACTIONS", "Extraction", "Hkdf", "Identity", "Toeplitz", "extraction_named", "hkdf_sha256"]

_CHUNK = 256  # attempts whose Toeplitz matrices are held at once
_HASH_BYTES = 32


@runtime_checkable
class Extraction(Protocol):
    """A public, possibly salted map from secret bits to key bits."""

    def public(self, attempts: int, *, secret_bits: int, key_bits: int, rng: np.random.Generator) -> Helper:
        """Draw what the map needs and everybody may know, arrays (attempts, ...)."""
        ...

    def key(self, secret: Array, helper: Helper, *, key_bits: int) -> Array:
        """Keys (attempts, key_bits) uint8 of secrets (attempts, secret_bits)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """The key is the beginning of the secret: nothing is hashed, so that every leak stays visible."""

    kind: ClassVar[str] = "identity"

    def public(self, attempts: int, *, secret_bits: int, key_bits: int, rng: np.random.Generator) -> Helper:
        """Nothing."""
        return {}

    def key(self, secret: Array, helper: Helper, *, key_bits: int) -> Array:
        """First `key_bits` columns."""
        return np.array(secret[:, :key_bits], np.uint8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hkdf:
    """HKDF-SHA-256 with a fresh salt of 32 bytes for every attempt."""

    info: bytes = b"keyassay key"
    kind: ClassVar[str] = "hkdf"

    def public(self, attempts: int, *, secret_bits: int, key_bits: int, rng: np.random.Generator) -> Helper:
        """ "salt" (attempts, 32) uint8."""
        return {"salt": rng.integers(0, 256, (attempts, _HASH_BYTES), dtype=np.uint8)}

    def key(self, secret: Array, helper: Helper, *, key_bits: int) -> Array:
        """First bits of the output for the secret packed into bytes, first bit most significant."""
        length = -(-key_bits // 8)
        packed = np.packbits(secret, axis=1)
        output = b"".join(
            hkdf_sha256(row.tobytes(), salt=salt.tobytes(), info=self.info, length=length)
            for row, salt in zip(packed, helper["salt"], strict=True)
        )
        octets = np.frombuffer(output, np.uint8).reshape(len(secret), length)
        return np.unpackbits(octets, axis=1, count=key_bits)


@dataclass(frozen=True, slots=True, kw_only=True)
class Toeplitz:
    """A 2-universal hash: a random matrix over GF(2), constant along its diagonals."""

    kind: ClassVar[str] = "toeplitz"

    def public(self, attempts: int, *, secret_bits: int, key_bits: int, rng: np.random.Generator) -> Helper:
        """ "toeplitz-seed" (attempts, key_bits + secret_bits - 1) uint8: the diagonals."""
        return {"toeplitz-seed": rng.integers(0, 2, (attempts, key_bits + secret_bits - 1), dtype=np.uint8)}

    def key(self, secret: Array, helper: Helper, *, key_bits: int) -> Array:
        """Matrix times secret, entry (i, j) of the matrix being seed[i - j + secret_bits - 1]."""
        seed = helper["toeplitz-seed"]
        width = secret.shape[1]
        keys = np.empty((len(secret), key_bits), np.uint8)
        for start in range(0, len(secret), _CHUNK):
            rows = slice(start, start + _CHUNK)
            matrix = np.lib.stride_tricks.sliding_window_view(seed[rows], width, axis=1)[:, :key_bits, ::-1]
            keys[rows] = np.bitwise_xor.reduce(matrix & secret[rows, None, :], axis=2)
        return keys


def hkdf_sha256(secret: bytes, *, salt: bytes, info: bytes, length: int) -> bytes:
    """Extract and expand with HMAC-SHA-256 (RFC 5869, sections 2.2 and 2.3).

    Parameters
    ----------
    secret, salt, info : bytes
        Keying material; an empty salt stands for 32 zero bytes.
    length : int
        Bytes of output, at most 8160.

    Raises
    ------
    ValueError
        If `length` is out of range.
    """
    if not 0 < length <= 255 * _HASH_BYTES:
        raise ValueError(f"`length` of HKDF output must be 1 to {255 * _HASH_BYTES} bytes, got {length}")
    pseudorandom = hmac.digest(salt or bytes(_HASH_BYTES), secret, hashlib.sha256)
    block = output = b""
    for count in range(1, -(-length // _HASH_BYTES) + 1):
        block = hmac.digest(pseudorandom, block + info + bytes([count]), hashlib.sha256)
        output += block
    return output[:length]


EXTRACTIONS: Mapping[str, Extraction] = MappingProxyType(
    {"hkdf": Hkdf(), "toeplitz": Toeplitz(), "identity": Identity()}
)


def extraction_named(name: str) -> Extraction:
    """Return the extraction called `name`.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest name.
    """
    if name not in EXTRACTIONS:
        near = difflib.get_close_matches(name, EXTRACTIONS, n=1, cutoff=0)[0]
        known = ", ".join(EXTRACTIONS)
        raise ValueError(f"`extraction` must be one of {known}, got {name!r}; the nearest is {near!r}")
    return EXTRACTIONS[name]
