"""What is left of a key whose parts can be told right from wrong one by one."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np

from harness import validate
from harness.collecting import Rows
from harness.contracts import Array, Confirmed, Estimate
from harness.errors import ContractError
from harness.estimators.accumulation import strength_of_segments
from harness.exchange import Honest, call

__all__ = ["confirmation_rows"]

METHOD = "separately-confirmed"


def confirmation_rows(table: Rows, scheme: Any, honest: Honest) -> None:
    """Add the guesses that a key costs part by part, if the scheme publishes check values of parts.

    Parameters
    ----------
    table : Rows
        Of the scheme, without an attack.
    scheme : Scheme
        Says by `segments` and `confirm` what its check values cover; of others nothing is added.
    honest : Honest
        Every key that A established must pass its own checks, or the row is failed.
    """
    if not isinstance(scheme, Confirmed):
        return
    try:
        segments = _segments(scheme, honest)
    except ContractError as error:
        table.skip("min-entropy", "bit", str(error), status="failed", method=METHOD)
        return
    checks, sizes = np.unique(segments[segments >= 0], return_counts=True)
    alone = int((segments < 0).sum())  # bits that no check value covers are one more part
    parts = np.concatenate([sizes, [alone]]) if alone else sizes
    bits = strength_of_segments(parts.astype(float))
    table.add(
        "min-entropy",
        Estimate(
            value=bits,
            low=bits,
            high=bits,
            level=0.95,
            unit="bit",
            side="defender-at-most",
            evidence="exact",
            subjects=len(np.unique(honest.subject)),
            attempts=honest.attempts,
            method=METHOD,
        ),
        reason=f"log2 of the guesses at {len(checks)} parts checked one by one, if the key is uniform; "
        f"the weakest holds {int(sizes.min())} bits",
    )


def _segments(scheme: Confirmed, honest: Honest) -> Array:
    name, width = str(getattr(scheme, "name", "scheme")), honest.keys_a.shape[1]
    segments = np.asarray(call(name, "segments", getattr, scheme, "segments"))
    if segments.shape != (width,) or segments.dtype.kind not in "iu" or not (segments >= 0).any():
        raise ContractError(
            name,
            "segments",
            f"({width},) whole numbers, some at least 0",
            f"{segments.dtype}, {segments.shape}",
        )
    rows = np.flatnonzero(honest.established)
    helper = {key: array[rows] for key, array in honest.helper.items()}
    said = call(name, "confirm()", copy.deepcopy(scheme).confirm, honest.keys_a[rows], helper)
    passed = validate.bits(name, "confirm()", said, (len(rows), None))
    if not passed.all():
        raise ContractError(
            name,
            "confirm()",
            "true of every key that A established",
            f"{int((passed == 0).sum())} checks failed",
        )
    return segments
