"""Public arrays as bits and as numbers, whatever they mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Helper

__all__ = ["Column", "first_elements", "helper_bits", "helper_numbers", "listed"]


MOST = 16384
"""Numbers per attempt that are looked at."""


@dataclass(frozen=True, slots=True)
class Column:
    """Where a bit or a number is from."""

    array: str
    element: int
    what: str

    def __str__(self) -> str:
        return (
            f"`{self.array}`[{self.element}] ({self.what})"
            if self.what
            else f"`{self.array}`[{self.element}]"
        )


def helper_bits(helper: Helper, *, deep: bool = False) -> tuple[Array, list[Column]]:
    """Bits of all public numbers that vary, none of them twice.

    Parameters
    ----------
    helper : mapping
        Arrays (attempts, ...).
    deep : bool
        Floats count by their sign and by whether they lie above the median of their element; with `deep`,
        by every stored bit too. Whole numbers count by the bits of their value, complex ones by both parts.

    Returns
    -------
    bits : (attempts, columns) uint8
    columns : list of Column
    """
    parts: list[Array] = []
    columns: list[Column] = []
    rows = 0
    for name in sorted(helper):
        for flat, part in _parts(np.asarray(helper[name])):
            rows = len(flat)
            for label, bits in _bits(flat, deep):
                varies = np.flatnonzero(bits.any(axis=0) & ~bits.all(axis=0))
                parts.append(bits[:, varies])
                columns += [Column(name, int(e), part + label) for e in varies]
    if not parts:
        return np.zeros((rows, 0), np.uint8), []
    every = np.concatenate(parts, axis=1).astype(np.uint8)
    _, kept = np.unique(np.packbits(every, axis=0), axis=1, return_index=True)
    kept = np.sort(kept)
    return every[:, kept], [columns[i] for i in kept]


def first_elements(helper: Helper, *, most: int = MOST) -> tuple[Helper, str]:
    """Arrays flattened to (attempts, elements) and cut so that all fit; what the report says of the rest.

    Small arrays keep all they have; the large ones share what is left.
    """
    flat = {name: array.reshape(len(array), -1) for name, array in helper.items()}
    kept, room, cut = {}, most, []
    for turn, name in enumerate(sorted(flat, key=lambda n: (flat[n].shape[1], n))):
        width = min(flat[name].shape[1], room // (len(flat) - turn))
        kept[name], room = flat[name][:, :width], room - width
        if width < flat[name].shape[1]:
            cut.append(f"the first {width} of {flat[name].shape[1]} elements of `{name}`")
    return kept, f"; looked at {' and '.join(cut)}" if cut else ""


def helper_numbers(helper: Helper) -> tuple[Array, list[Column]]:
    """(attempts, columns) float64 of all public numbers that take more than two values."""
    parts: list[Array] = []
    columns: list[Column] = []
    rows = 0
    for name in sorted(helper):
        for flat, part in _parts(np.asarray(helper[name])):
            rows = len(flat)
            values = np.nan_to_num(flat.astype(np.float64))
            if values.size == 0:
                continue
            low, high = values.min(axis=0), values.max(axis=0)
            many = np.flatnonzero(((values != low) & (values != high)).any(axis=0))
            parts.append(values[:, many])
            columns += [Column(name, int(e), part) for e in many]
    return (np.concatenate(parts, axis=1) if parts else np.zeros((rows, 0))), columns


def listed(columns: list[Column], *, most: int = 4) -> str:
    """Columns in words, by array."""
    shown = [str(c) for c in columns[:most]]
    if len(columns) > most:
        names = sorted({c.array for c in columns})
        shown.append(f"{len(columns) - most} more in {', '.join(f'`{n}`' for n in names)}")
    return ", ".join(shown)


def _parts(array: Array) -> list[tuple[Array, str]]:
    flat = array.reshape(len(array), -1)
    if array.dtype.kind == "c":
        return [(flat.real, "real part, "), (flat.imag, "imaginary part, ")]
    return [(flat, "")]


def _bits(flat: Array, deep: bool) -> list[tuple[str, Array]]:
    if flat.size == 0:
        return []
    if flat.dtype.kind == "b":
        return [("", flat.astype(np.uint8))]
    whole = flat
    if flat.dtype.kind == "f":
        if not (np.isfinite(flat).all() and np.abs(flat).max() < 2**53 and (flat == np.rint(flat)).all()):
            return _of_reals(flat, deep)
        whole = flat.astype(np.int64)
    low, high = int(whole.min()), int(whole.max())
    width = max(high.bit_length(), (~low).bit_length() + 1 if low < 0 else 0, 1)
    words = whole.astype(np.int64 if whole.dtype.kind == "i" else np.uint64).view(np.uint64)
    one = width == 1
    return [
        ("" if one else f"bit {b}", ((words >> np.uint64(b)) & np.uint64(1)).astype(np.uint8))
        for b in range(min(width, 64))
    ]


def _of_reals(flat: Array, deep: bool) -> list[tuple[str, Array]]:
    plain = np.nan_to_num(flat)
    found = [
        ("sign", np.signbit(flat).astype(np.uint8)),
        ("above its median", (plain > np.median(plain, axis=0)).astype(np.uint8)),
    ]
    if deep:
        words = np.ascontiguousarray(flat.astype(np.float64)).view(np.uint64)
        found += [
            (f"stored bit {b}", ((words >> np.uint64(b)) & np.uint64(1)).astype(np.uint8))
            for b in range(63)
        ]
    return found
