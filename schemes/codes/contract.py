"""What the rest of the schemes expects of an error-correcting code."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

import numpy as np

from harness.contracts import Array

__all__ = ["Code", "packed", "rows"]


@runtime_checkable
class Code(Protocol):
    """A binary linear code with a systematic encoder: the first k bits of a word are its message."""

    @property
    def name(self) -> str: ...
    @property
    def n(self) -> int:
        """Bits of a word."""
        ...

    @property
    def k(self) -> int:
        """Bits of a message."""
        ...

    @property
    def t(self) -> int:
        """Errors that are corrected whatever their positions."""
        ...

    @property
    def generator(self) -> Array:
        """(k, n) uint8 = [I | A]."""
        ...

    @property
    def parity(self) -> Array:
        """(n - k, n) uint8 = [Aᵀ | I]."""
        ...

    def encode(self, messages: Array) -> Array:
        """Words (..., n) of messages (..., k)."""
        ...

    def decode(self, words: Array) -> tuple[Array, Array]:
        """Messages (..., k), and (...) bool: True where a codeword lay within reach.

        Where none did, the message bits come back as they were received.
        """
        ...


def rows(bits: Array, width: int) -> Array:
    """`bits` (..., width) as uint8 of shape (count, width).

    Raises
    ------
    ValueError
        If the last axis is not `width` long.
    """
    bits = np.asarray(bits, np.uint8)
    if bits.ndim == 0 or bits.shape[-1] != width:
        raise ValueError(f"the last axis of the bits must be {width} long, got shape {bits.shape}")
    return bits.reshape(-1, width)


def packed(words: Array) -> Array:
    """Bits (count, n) as bytes (count, ceil(n / 8)), first bit most significant, zeros behind the last."""
    count, n = words.shape
    size = -(-n // 8)
    if n % 8:
        padded = np.zeros((count, 8 * size), np.uint8)
        padded[:, :n] = words
        words = padded
    # packing along an axis goes row by row; whole bytes a row can be packed as one line
    return np.packbits(np.ascontiguousarray(words).reshape(-1)).reshape(count, size)
