"""Codes by short text: a listed name, any member of a family, or several joined by plus signs."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType

from schemes.codes.bch import bch, bch_dimensions
from schemes.codes.concatenated import concatenated
from schemes.codes.contract import Code
from schemes.codes.reed_solomon import ReedSolomon, reed_solomon
from schemes.codes.repetition import repetition
from schemes.codes.table import golay23, golay24, hamming

__all__ = ["CODES", "code"]

_REED_SOLOMON = (
    *((7, k) for k in (3, 5)),
    *((15, k) for k in (5, 7, 9, 11, 13)),
    *((31, k) for k in (11, 15, 19, 23, 27)),
    *((63, k) for k in (31, 39, 47, 55)),
    (255, 223),
)
_JOINED = (
    "golay-23-12+repetition-3",
    "bch-31-16+repetition-3",
    "reed-solomon-15-9+repetition-3",
    "reed-solomon-15-7+hamming-7-4",
    "reed-solomon-15-9+bch-15-7",
    "reed-solomon-31-15+golay-24-12",
)
_FAMILIES = (
    (re.compile(r"repetition-(\d{1,4})"), repetition),
    (re.compile(r"bch-(\d{1,4})-(\d{1,4})"), bch),
    (re.compile(r"reed-solomon-(\d{1,3})-(\d{1,3})"), reed_solomon),
)
_LARGE_FIELD = re.compile(r"reed-solomon-(\d{1,3})-(\d{1,3})-gf(8|16|32|64|128|256)")


def code(name: str) -> Code:
    """Return the code called `name`.

    A name is one of `CODES`, or any ``repetition-N``, ``bch-N-K``, ``reed-solomon-N-K`` (in symbols,
    over the smallest field that holds N) or ``reed-solomon-N-K-gfQ`` (over GF(Q)), or such names joined
    by plus signs, the outermost code first.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest name.

    Examples
    --------
    >>> code("golay-24-12").t
    3
    >>> code("reed-solomon-15-9+repetition-3").n
    180
    """
    parts = name.split("+")
    made = _single(parts[-1], name)
    for part in reversed(parts[:-1]):
        made = concatenated(_single(part, name), made)
    return made


def _single(part: str, name: str) -> Code:
    if part in _SINGLE:
        return _SINGLE[part]()
    reason = ""
    try:
        for pattern, build in _FAMILIES:
            if found := pattern.fullmatch(part):
                return build(*map(int, found.groups()))
        if found := _LARGE_FIELD.fullmatch(part):
            symbols, message_symbols, size = map(int, found.groups())
            return ReedSolomon(symbols=symbols, message_symbols=message_symbols, m=size.bit_length() - 1)
    except ValueError as error:
        reason = f" ({error})"
    near = difflib.get_close_matches(part, _SINGLE, n=1, cutoff=0)[0]
    got = repr(name) if part == name else f"{part!r} in {name!r}"
    raise ValueError(f"`code` must be the name of a known code, got {got}{reason}; the nearest is {near!r}")


def _long_bch() -> dict[str, Callable[[], Code]]:
    """Of the long codes some, as there are very many."""
    listed = {511: (5, 10, 30), 1023: (10, 57)}
    return {
        f"bch-{n}-{k}": partial(bch, n, k)
        for n, some in listed.items()
        for k, t in bch_dimensions(n).items()
        if t in some
    }


_SINGLE: Mapping[str, Callable[[], Code]] = MappingProxyType(
    {
        **{f"repetition-{n}": partial(repetition, n) for n in (3, 5, 7)},
        **{f"hamming-{2**r - 1}-{2**r - 1 - r}": partial(hamming, r) for r in range(3, 8)},
        "golay-23-12": golay23,
        "golay-24-12": golay24,
        **{f"bch-{n}-{k}": partial(bch, n, k) for n in (15, 31, 63, 127, 255) for k in bch_dimensions(n)},
        **_long_bch(),
        **{f"reed-solomon-{n}-{k}": partial(reed_solomon, n, k) for n, k in _REED_SOLOMON},
    }
)
CODES: Mapping[str, Callable[[], Code]] = MappingProxyType(
    {**_SINGLE, **{name: partial(code, name) for name in _JOINED}}
)
