"""Single helper bits and numbers that go with single key bits."""

from __future__ import annotations

import numpy as np
from scipy.stats import rankdata

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, first_of_each, named, signs
from harness.detectors.helper_bits import helper_bits, helper_numbers, listed
from harness.detectors.tails import least_rows
from harness.detectors.tied import strongest_ties

__all__ = ["MOST", "helper_values"]

MOST = 65536
"""Helper bits and numbers that are looked at."""


def helper_values(data: Evidence) -> Detection:
    """Every helper bit, and every number by its rank and by its distance from the middle, for each key bit.

    Floats count by every stored bit too, so that what is hidden in their last digits shows.
    """
    slug = "helper-values"
    if not data.helper:
        return untested(slug, "the scheme publishes no helper data")
    rows = first_of_each(data.keys, data.subject)
    helper = {name: array[rows] for name, array in data.helper.items()}
    bits, of_bits = helper_bits(helper, deep=True)
    numbers, of_numbers = helper_numbers(helper)
    rank = _centred(numbers)
    every = np.concatenate([rank, np.abs(rank), bits], axis=1, dtype=np.float32)[:, :MOST]
    columns = (of_numbers + of_numbers + of_bits)[:MOST]
    if not columns:
        return untested(slug, "no helper array varies")
    need = least_rows(len(columns) * data.key_bits)
    if len(rows) < need:
        reason = f"{need} attempts with keys of their own could show it, and there are {len(rows)}"
        return untested(slug, reason)
    tie = strongest_ties(every, signs(data.keys[rows]))
    told = listed(list(dict.fromkeys(columns[i] for i in tie.columns)))
    text = f"{named(tie.positions)} go with {told}, which tells a bit in up to {tie.hit:.3g} of keys"
    if tie.bits == 0:
        text = f"of {len(columns)} helper bits and numbers none goes with a key bit beyond chance"
    return found(slug, tie.p, text, bits=tie.bits, attempts=len(rows), subjects=data.subjects)


def _centred(numbers: Array) -> Array:
    if numbers.shape[1] == 0:
        return numbers
    return np.asarray(rankdata(numbers, axis=0) - (len(numbers) + 1) / 2)
