"""Symbols written out in bits."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.estimators.entropy.whole_symbols import whole_symbols

__all__ = ["bits_of_alphabet", "bitstring", "likeliest_bit"]

_MOST = 16  # bits of a symbol


def bits_of_alphabet(alphabet: int) -> int:
    """Fewest bits that tell the symbols apart.

    Examples
    --------
    >>> [bits_of_alphabet(k) for k in (2, 3, 256)]
    [1, 2, 8]
    """
    if not 2 <= alphabet <= 1 << _MOST:
        raise ValueError(f"`alphabet` must be from 2 to {1 << _MOST} symbols, got {alphabet}")
    return (alphabet - 1).bit_length()


def bitstring(symbols: Array, bits: int) -> Array:
    """Write symbols in `bits` bits each, the highest bit first.

    Parameters
    ----------
    symbols : (n,) int
        From 0 to 2**bits - 1.
    bits : int
        From 1 to 16.

    Returns
    -------
    (n * bits,) uint8

    Raises
    ------
    ValueError
        If a symbol is not a whole number that fits.

    Examples
    --------
    >>> bitstring(np.array([2, 1]), 2).tolist()
    [1, 0, 0, 1]
    """
    if not 1 <= bits <= _MOST:
        raise ValueError(f"`bits` must be from 1 to {_MOST}, got {bits}")
    values = whole_symbols(symbols)
    if values.size and (values.min() < 0 or values.max() >= 1 << bits):
        other = values[(values < 0) | (values >= 1 << bits)][0]
        raise ValueError(f"symbols of {bits} bits must be from 0 to {(1 << bits) - 1}, got {other}")
    out = np.empty((len(values), bits), np.uint8)
    for i in range(bits):
        out[:, i] = (values.astype(np.uint16) >> (bits - 1 - i)) & 1
    return out.reshape(-1)


def likeliest_bit(alphabet: int) -> float:
    """Share of the more frequent bit where every symbol of an alphabet is written once.

    Examples
    --------
    >>> likeliest_bit(4), round(likeliest_bit(3), 3)
    (0.5, 0.667)
    """
    ones = float(bitstring(np.arange(alphabet), bits_of_alphabet(alphabet)).mean())
    return max(ones, 1 - ones)
