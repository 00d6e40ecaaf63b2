"""Key bits that are, without error, sums of helper bits."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, own_keys
from harness.detectors.helper_bits import Column, first_elements, helper_bits, listed
from harness.detectors.relations import SPARE, relations
from harness.detectors.tails import TOLD

__all__ = ["affine_relations"]

_PIECES = 48  # of an array at most: more would take longer than they tell
_MOST = 2048  # columns at once: elimination grows with their square


def affine_relations(data: Evidence) -> Detection:
    """Rank of helper and key bits together against what independent uniform keys have.

    All arrays at once where attempts suffice; each array by itself; of an array with more bits than
    attempts allow, as many neighbouring bits at a time as they do. Floats count by sign and by the median,
    whole numbers by the bits of their value.
    """
    slug, k = "helper-affine", data.key_bits
    if not data.helper:
        return untested(slug, "the scheme publishes no helper data")
    rows = own_keys(data)
    helper, left_out = first_elements({name: array[rows] for name, array in data.helper.items()})
    bits, columns = helper_bits(helper)
    if not columns:
        return untested(slug, "no helper array varies")
    room = min(len(rows) - k - 1 - SPARE, _MOST)
    if room < 1:
        need = min(sum(c.array == name for c in columns) for name in helper if helper[name].size)
        need = max(need, 1) + k + 1 + SPARE
        reason = f"{need} attempts with keys of their own could show it, and there are {len(rows)}"
        return untested(slug, reason)
    pieces = _parts(columns, room)
    if not pieces:
        need = min(sum(c.array == name for c in columns) for name in {c.array for c in columns}) // _PIECES
        reason = f"{need + k + 2 + SPARE} attempts with keys of their own could show it, and there are "
        return untested(slug, f"{reason}{len(rows)}")
    looks = [_look(bits[:, part], data.keys[rows], [columns[i] for i in part]) for part in pieces]
    p = len(looks) * min(x[0] for x in looks)
    heard = [x for x in looks if x[0] * len(looks) <= TOLD]
    best = max(heard, key=lambda x: (x[1], -x[0])) if heard else min(looks)
    text = best[2] + left_out
    if len(columns) > room:
        text += (
            f"; all {len(columns)} helper bits at once would need {len(columns) + k + 1 + SPARE} attempts, "
            f"so {room} were taken at a time"
        )
    lost = float(best[1]) if heard else 0.0
    return found(slug, p, text, bits=lost, attempts=len(rows), subjects=data.subjects)


def _parts(columns: list[Column], room: int) -> list[Array]:
    """Groups of columns: all if they fit, and each array, in pieces if it does not fit whole."""
    names = np.array([c.array for c in columns])
    arrays = [np.flatnonzero(names == name) for name in dict.fromkeys(names.tolist())]
    few = [one for one in arrays if len(one) <= room * _PIECES]
    found = [piece for one in few for piece in np.array_split(one, -(-len(one) // room))]
    if len(arrays) > 1 and len(columns) <= room:
        found.insert(0, np.arange(len(columns)))
    return found


def _look(bits: Array, keys: Array, columns: list[Column]) -> tuple[float, int, str]:
    seen = relations(bits, keys)
    if not seen.count:
        return 1.0, 0, "no sum of helper bits is a sum of key bits"
    at = np.flatnonzero(seen.of_wanted.any(axis=0))
    used = [columns[i] for i in np.flatnonzero(seen.of_known.any(axis=0))]
    times = f"{seen.count} exact relation{'s' if seen.count > 1 else ''}"
    if used:
        return seen.chance, seen.count, f"{named(at)} following from {listed(used)} in {times}"
    return seen.chance, seen.count, f"{named(at)} constant, or tied to each other, in {times}"
