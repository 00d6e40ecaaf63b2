"""Changes of helper data that turn over one bit of the word which device B decodes.

Found on the adversary's own copy of the scheme: an element of helper data that is changed moves the
disclosed syndromes, and a change that moves them as one wrong bit would is as good as a wrong bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from harness.contracts import Array, Helper

__all__ = ["Levers", "levers_of"]

MOST = 1 << 23  # numbers in the table of effects; larger schemes are left alone


@dataclass(frozen=True, slots=True)
class Levers:
    """Which elements of helper data to change for each bit of each block."""

    names: tuple[str, ...]  # binary arrays, in the order of the elements
    positions: Array  # (blocks, n) int: witness bit behind each bit of a block; -1 = none
    masks: Array  # (blocks, n, elements) uint8

    def pulled(self, helper: Helper, block: int, bits: Array) -> dict[str, Array]:
        """Helper data with these bits of one block turned over, bits (attempts, n) bool."""
        change = (bits.astype(np.float32) @ self.masks[block].astype(np.float32)).astype(np.int64) % 2
        changed, start = dict(helper), 0
        for name in self.names:
            array = helper[name]
            size = array[0].size
            part = change[:, start : start + size].reshape(array.shape)
            changed[name] = array ^ part.astype(array.dtype)
            start += size
        return changed


def levers_of(scheme: Any, helper: Helper) -> Levers | None:
    """Levers for every bit of every block, or None where the scheme discloses nothing or has none."""
    if not callable(getattr(scheme, "linear", None)) or not hasattr(scheme, "labels"):
        return None
    names = tuple(
        k
        for k, v in sorted(helper.items())
        if k != "aborted" and v.dtype.kind in "bui" and v.size and v.max() <= 1 and v.min() >= 0
    )
    flat = [helper[k][0].reshape(-1) for k in names]
    elements = sum(f.size for f in flat)
    one = {k: v[:1] for k, v in helper.items()}
    before = scheme.linear(one)
    if not elements or elements**2 + elements * before.syndrome.size > MOST:
        return None
    effects = _effects(scheme, one, names, elements) ^ before.syndrome  # (elements, blocks, r)
    blocks, n = before.positions.shape[1:]
    found = np.zeros((blocks, n, elements), np.uint8)
    known = {row.tobytes(): i for i, row in reversed(list(enumerate(effects.reshape(elements, -1))))}
    for block in range(blocks):
        for place in range(n):
            wanted = np.zeros_like(before.syndrome[0])
            wanted[block] = before.parity[:, place]
            moved = _combination(wanted, known)
            if moved is None:
                return None
            found[block, place, moved] = 1
    return Levers(names, before.positions[0], found)


def _effects(scheme: Any, one: Helper, names: tuple[str, ...], elements: int) -> Array:
    """Syndromes with each element changed in turn."""
    many = {k: np.repeat(v, elements, axis=0) for k, v in one.items()}
    start = 0
    for name in names:
        size = one[name][0].size
        rows = np.arange(start, start + size)
        wide = many[name].reshape(elements, size)
        wide[rows, rows - start] ^= wide.dtype.type(1)
        many[name] = wide.reshape(many[name].shape)
        start += size
    return np.asarray(scheme.linear(many).syndrome)


def _combination(wanted: Array, known: dict[bytes, int]) -> list[int] | None:
    """Elements that together move the syndromes as wanted: one that does, or one for each syndrome bit."""
    whole = np.ascontiguousarray(wanted).reshape(-1)
    if whole.tobytes() in known:
        return [known[whole.tobytes()]]
    elements = []
    for bit in np.flatnonzero(whole):
        single = np.zeros_like(whole)
        single[bit] = 1
        if single.tobytes() not in known:
            return None
        elements.append(known[single.tobytes()])
    return elements
