"""Single helper bits and numbers that go with single key bits."""

from __future__ import annotations

import numpy as np
from scipy.stats import rankdata

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, own_keys, signs
from harness.detectors.helper_bits import first_elements, helper_bits, helper_numbers, listed
from harness.detectors.tails import least_rows
from harness.detectors.tied import strongest_ties

__all__ = ["helper_values"]

_CELLS = 1 << 26  # stored bits of floats are looked at as far as they fit
_STORED = 66  # bits of one float


def helper_values(data: Evidence) -> Detection:
    """Every helper bit, and every number by its rank and its distance from the middle, for each key bit.

    Floats count by every stored bit too, so that what is hidden in their last digits shows.
    """
    slug = "helper-values"
    if not data.helper:
        return untested(slug, "the scheme publishes no helper data")
    rows = own_keys(data)
    helper, left_out = first_elements({name: array[rows] for name, array in data.helper.items()})
    size = sum(array[0].size for array in helper.values())
    bits, of_bits = helper_bits(helper, deep=size * len(rows) * _STORED <= _CELLS)
    numbers, of_numbers = helper_numbers(helper)
    rank = _centred(numbers)
    columns = of_numbers + of_numbers + of_bits
    if not columns:
        return untested(slug, "no helper array varies")
    need = least_rows(len(columns) * data.key_bits)
    if len(rows) < need:
        reason = f"{need} attempts with keys of their own could show it, and there are {len(rows)}"
        return untested(slug, reason)
    tie = strongest_ties([rank, np.abs(rank), bits], signs(data.keys[rows]), data.subject[rows])
    told = listed(list(dict.fromkeys(columns[i] for i in tie.columns)))
    text = f"{named(tie.positions)} told by {told} {tie.told}"
    if not tie.heard:
        text = f"of {len(columns)} helper bits and numbers none goes with a key bit beyond chance"
    return found(slug, tie.p, text + left_out, bits=tie.bits, attempts=len(rows), subjects=data.subjects)


def _centred(numbers: Array) -> Array:
    if numbers.shape[1] == 0:
        return numbers
    return np.asarray(rankdata(numbers, axis=0) - (len(numbers) + 1) / 2)
