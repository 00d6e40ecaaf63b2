"""Row i of an answer depends on row i of the question alone."""

from __future__ import annotations

from typing import Any

import numpy as np

from harness.checks.alike import same_keys, same_witness
from harness.checks.handing import plain, rows_of
from harness.checks.outcomes import NotApplicable, at
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase
from harness.contracts import Array

__all__ = ["batches"]


def batches(rows: int) -> list[tuple[Array, str]]:
    """Other batches of the same attempts, each with a word for it."""
    found = [(np.array([i]), "alone as in a batch") for i in range(rows)]
    if rows > 1:
        found.append((np.arange(rows)[::-1], "in another order"))
        found.append((np.r_[0, np.arange(rows)], "beside a copy of the first"))
    return found


@check("scheme", "witness-rows-stand-alone")
def witness_rows_stand_alone(case: SchemeCase) -> None:
    """Row i of `witness` depends on row i of the capture alone: neither on the other attempts of the batch
    nor on their number or order.
    """
    capture, whole = case.both[0], case.witnesses[0]
    for rows, when in batches(len(whole.acquired)):
        with at("witness()"):
            found = case.sense(case.fresh(), rows_of(capture, rows))
        same_witness("witness()", rows_of(whole, rows), found, when=when)


@check("scheme", "reproduced-rows-stand-alone")
def reproduced_rows_stand_alone(case: SchemeCase) -> None:
    """Row i of `reproduce` depends on row i of the witness and of the helper data alone."""
    own, run = _listener(case), case.run
    keys, accepted = case.reproduce(own, run.b, plain(run.published))
    for rows, when in batches(len(accepted)):
        with at("reproduce()"):
            found = case.reproduce(own, rows_of(run.b, rows), rows_of(run.published, rows))
        same_keys("reproduce()", (keys[rows], accepted[rows]), found, when=when)


def _listener(case: SchemeCase) -> Any:
    """A copy that has generated what B reads; what it remembers of that is another promise."""
    own = case.fresh()
    if not callable(getattr(own, "reproduce", None)):
        raise NotApplicable("the scheme has no `reproduce`")
    if not case.interactive:
        case.generate(own, case.run.a, case.rng("generate"))
    return own
