"""Helper data with a few elements changed."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Helper

__all__ = ["changeable", "flipped", "zeroed"]


def changeable(helper: Helper) -> int:
    """Elements of an attempt's helper data that a flip of their lowest bit changes."""
    return sum(v[0].size for v in _arrays(helper).values() if len(v))


def _arrays(helper: Helper) -> dict[str, Array]:
    return {k: v for k, v in sorted(helper.items()) if v.dtype.kind in "bui" and k != "aborted"}


def flipped(helper: Helper, count: int, *, rng: np.random.Generator) -> dict[str, Array]:
    """Helper data with the lowest bit of `count` random elements turned over in every attempt."""
    arrays = _arrays(helper)
    rows = len(next(iter(arrays.values())))
    total = changeable(helper)
    chosen = np.zeros((rows, total), bool)
    places = rng.permuted(np.broadcast_to(np.arange(total), (rows, total)), axis=1)[:, :count]
    np.put_along_axis(chosen, places, True, axis=1)
    changed, start = dict(helper), 0
    for name, array in arrays.items():
        size = array[0].size
        mask = chosen[:, start : start + size].reshape(array.shape)
        changed[name] = array ^ mask.astype(array.dtype)
        start += size
    return changed


def zeroed(helper: Helper) -> dict[str, Array]:
    """Helper data of nothing but zeros."""
    return {k: v if k == "aborted" else np.zeros_like(v) for k, v in helper.items()}
