"""Rows of the secret-key rate: what a source allows A and B against one adversary."""

from __future__ import annotations

import numpy as np

from harness.collecting import Rows
from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.keyrate_beliefs import believed_key_rate
from harness.estimators.keyrate_symbols import estimated_key_rate
from harness.exchange import Honest
from harness.score import Scores

__all__ = ["CELLS", "keyrate_rows"]

CELLS = (
    ("secret-key-rate", "maurer-lower"),
    ("device-information", "i-ab"),
    ("view-information", "i-ae"),
    ("view-information", "i-be"),
    ("secret-key-rate", "maurer-upper"),
)
"""Measure and method of every row."""

_UNIT = "bit/symbol"


def keyrate_rows(table: Rows, honest: Honest, scores: Scores) -> None:
    """Add Maurer's bounds on the secret-key rate, and the informations that they rest on.

    Parameters
    ----------
    table : Rows
        Of one scheme and attack; gets a row for each of `CELLS`, and each person's part in the lower bound.
    honest : Honest
    scores : Scores
        An attack that believed something of the key alone has no symbols to compare: not applicable.
    """
    if scores.likely is None or scores.surprise_a is None:
        for measure, method in CELLS:
            why = "the attack believes something of the key, not of the witness"
            table.skip(measure, _UNIT, why, status="not-applicable", method=method)
        return
    rows = np.flatnonzero(honest.a.acquired[scores.attempt] & honest.b.acquired[scores.attempt])
    _by_beliefs(table, honest, scores, rows)
    _by_symbols(table, honest, scores.likely[rows], scores.attempt[rows])


def _by_beliefs(table: Rows, honest: Honest, scores: Scores, rows: Array) -> None:
    if scores.surprise_a is None:
        return
    attempt = scores.attempt[rows]
    try:
        found = believed_key_rate(
            honest.a.symbols[attempt],
            honest.b.symbols[attempt],
            honest.subject[attempt],
            surprise_a=scores.surprise_a[rows],
            surprise_b=None if scores.surprise_b is None else scores.surprise_b[rows],
            alphabet=honest.a.alphabet,
        )
    except InsufficientData as error:
        for measure, method in CELLS[:-1]:
            table.skip(measure, _UNIT, str(error), method=method)
        return
    guarantee = "Maurer's theorem guarantees at most this; a better adversary lowers it"
    table.add("secret-key-rate", found.lower, reason=guarantee)
    table.people("secret-key-rate", found.lower_by_person, found.people)
    table.add("device-information", found.i_ab, reason="what B's symbols tell of A's")
    table.add("view-information", found.i_ae, reason="of A's symbols, before helper data")
    if found.i_be is None:
        table.skip("view-information", _UNIT, "nobody else to learn B's errors from", method="i-be")
    else:
        table.add("view-information", found.i_be, reason="of B's symbols")


def _by_symbols(table: Rows, honest: Honest, likely: Array, attempt: Array) -> None:
    try:
        found = estimated_key_rate(
            honest.a.symbols[attempt],
            honest.b.symbols[attempt],
            likely,
            honest.subject[attempt],
            alphabet=honest.a.alphabet,
            views=honest.a.alphabet,
            attempt=attempt,
        )
    except InsufficientData as error:
        table.skip("secret-key-rate", _UNIT, str(error), method="maurer-upper")
        return
    reason = "no protocol gets more secret bits out of these symbols, if they are independent"
    if found.left_out:
        reason += f"; {found.left_out} people left out for want of attempts or symbols"
    table.add("secret-key-rate", found.upper, reason=reason)
