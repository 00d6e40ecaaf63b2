"""Key bits that are, without error, sums of helper bits."""

from __future__ import annotations

import math

import numpy as np

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, first_of_each, named
from harness.detectors.helper_bits import Column, helper_bits, listed
from harness.detectors.relations import relations
from harness.detectors.tails import LEVEL

__all__ = ["affine_relations"]

_SPARE = 20  # attempts more than bits: what is then dependent is so by chance with 2^-20 at most


def affine_relations(data: Evidence) -> Detection:
    """Rank of helper and key bits together against what independent uniform keys have.

    All arrays at once where attempts suffice, and each array by itself. Floats count by sign and by the
    median, whole numbers by the bits of their value.
    """
    slug, k = "helper-affine", data.key_bits
    if not data.helper:
        return untested(slug, "the scheme publishes no helper data")
    rows = first_of_each(data.keys, data.subject)
    bits, columns = helper_bits({name: array[rows] for name, array in data.helper.items()})
    keys = data.keys[rows]
    names = sorted({c.array for c in columns})
    groups = [names] if len(names) < 2 else [names, *([n] for n in names)]
    looks, missed = [], []
    for group in groups:
        chosen = np.array([i for i, c in enumerate(columns) if c.array in group], np.intp)
        need = len(chosen) + k + 1 + _SPARE
        if len(rows) < need:
            missed.append((need, group))
        else:
            looks.append(_look(bits[:, chosen], keys, [columns[i] for i in chosen], group))
    if not looks:
        need = min(missed)[0]
        reason = f"{need} attempts with keys of their own could show it, and there are {len(rows)}"
        return untested(slug, reason)
    p = len(looks) * min(x[0] for x in looks)
    heard = [x for x in looks if x[0] * len(looks) <= LEVEL]
    best = max(heard, key=lambda x: x[1]) if heard else min(looks)
    text = best[2]
    if missed:
        whole = max(missed)
        text += f"; {_joined(whole[1])} as a whole would need {whole[0]} attempts"
    lost = float(best[1]) if heard else 0.0
    return found(slug, p, text, bits=lost, attempts=len(rows), subjects=data.subjects)


def _look(bits: Array, keys: Array, columns: list[Column], names: list[str]) -> tuple[float, int, str]:
    free, of_helper, of_key = relations(bits, keys)
    count = len(of_key)
    if not count:
        return 1.0, 0, f"no sum of helper bits of {_joined(names)} is a sum of key bits"
    at = np.flatnonzero(of_key.any(axis=0))
    used = [columns[i] for i in np.flatnonzero(of_helper.any(axis=0))]
    if not used:
        kind = "constant" if (of_key.sum(axis=1) == 1).all() else "tied to each other"
        text = f"{named(at)} are {kind} in {count} relations without any helper bit"
    else:
        text = f"{named(at)} follow from {listed(used)} in {count} exact relations"
    return _chance(count, keys.shape[1], free), count, text


def _chance(count: int, k: int, free: int) -> float:
    """At most this is the chance of as many relations: spaces of key sums times 2^-free for each dimension.

    There are at most 3.47 · 2^(count (k - count)) spaces of `count` dimensions (3.4628 is the limit of
    the product of 1 / (1 - 2^-i)).
    """
    return min(1.0, math.ldexp(3.47, max(-900, count * (k - count - free))))


def _joined(names: list[str]) -> str:
    quoted = [f"`{n}`" for n in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} and {quoted[-1]}"
