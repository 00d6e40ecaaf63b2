"""Error-correcting codes, by name or by parameters."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType

from schemes.codes.bch import bch, bch_dimensions
from schemes.codes.contract import Code
from schemes.codes.repetition import repetition
from schemes.codes.table import golay23, golay24, hamming

__all__ = [
    "CODES",
    "Code",
    "bch",
    "bch_dimensions",
    "code",
    "golay23",
    "golay24",
    "hamming",
    "repetition",
]

CODES: Mapping[str, Callable[[], Code]] = MappingProxyType(
    {
        **{f"repetition-{n}": partial(repetition, n) for n in (3, 5, 7)},
        **{f"hamming-{2**r - 1}-{2**r - 1 - r}": partial(hamming, r) for r in range(3, 8)},
        "golay-23-12": golay23,
        "golay-24-12": golay24,
        **{f"bch-{n}-{k}": partial(bch, n, k) for n in (15, 31, 63, 127, 255) for k in bch_dimensions(n)},
    }
)


def code(name: str) -> Code:
    """Return the code called `name`.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest name.

    Examples
    --------
    >>> code("golay-24-12").t
    3
    """
    if name not in CODES:
        near = difflib.get_close_matches(name, CODES, n=1, cutoff=0)[0]
        raise ValueError(f"`code` must be the name of a known code, got {name!r}; the nearest is {near!r}")
    return CODES[name]()
