"""Rows of min-entropy per symbol: device A as a source, of all people and of the worst one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from harness.collecting import Rows
from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.entropy.by_subject import BySubject, worst_of
from harness.estimators.entropy.non_iid import ESTIMATORS, FULL, NonIid, Outcome, non_iid
from harness.estimators.entropy.restart import RestartTest, common_counts, restart_test, sanity_cutoff
from harness.exchange import Honest

__all__ = ["ASSESSED", "RESTART", "WORST", "source_rows"]

ASSESSED = "assessed"
"""Method of the least of all estimates."""

RESTART = "restart"
"""Method of attempts as restarts; always of one person, with `WORST` behind it."""

WORST = "-worst-subject"
"""Ends the method of a row that is of one person; without it, a row pools all people."""

_MEASURE, _UNIT = "min-entropy", "bit/symbol"


def source_rows(table: Rows, honest: Honest) -> None:
    """Add what ten estimators say of device A's symbols, pooled and of the person who holds least.

    A row whose method ends in `WORST` is of that one person (`subjects` is 1), whom its reason names; the
    row of the same method without the ending pools all people, and is no bound for any of them. Of symbols
    wider than a bit each method has its lesser figure: of the symbols, or of the bits that they are
    written in.

    Parameters
    ----------
    table : Rows
        Of the scheme, without an attack; gets rows `min-entropy` in bit/symbol. A method that has such a
        row already is left alone.
    honest : Honest
        Attempts that device A acquired count, in the order of its sittings.
    """
    usable = honest.a.acquired
    symbols, subject = honest.a.symbols[usable], honest.subject[usable]
    try:
        found = worst_of(symbols, subject, alphabet=honest.a.alphabet)
    except InsufficientData as error:
        for method in (ASSESSED, ASSESSED + WORST, RESTART + WORST):
            table.skip(_MEASURE, _UNIT, str(error), method=method)
        return
    there = {row.method for row in table.rows if (row.measure, row.unit) == (_MEASURE, _UNIT)}
    person = f"subject {found.worst_subject}, who is assessed at least of all"
    for side, ending, who in (
        (found.pooled, "", "all people pooled, which hides the single one"),
        (found.worst, WORST, person),
    ):
        small = f"; {side.symbols} symbols: below the standard's sample size" if side.symbols < FULL else ""
        _assessed(table, side, ending, f"{who}{small}")
        for method in ESTIMATORS:
            if method + ending not in there:
                _by_method(table, side, method, ending, f"{who}{small}")
    _restart(table, symbols, subject, found, alphabet=honest.a.alphabet)


def _assessed(table: Rows, side: NonIid, ending: str, who: str) -> None:
    least = side.decides
    estimate = _per_symbol(least, side)
    if estimate is None:
        table.skip(_MEASURE, _UNIT, "no estimator has enough data", method=ASSESSED + ending)
        return
    typical = f"at this length a perfect source gets about {side.typical_ceiling:.3g} or less"
    table.add(
        _MEASURE,
        replace(estimate, method=ASSESSED + ending),
        reason=f"the least of all estimates, {least.method} of {least.of}, of {who}; {typical}",
    )


def _by_method(table: Rows, side: NonIid, method: str, ending: str, who: str) -> None:
    own = [o for o in side.outcomes if o.method == method]
    judged = [o for o in own if o.per_symbol is not None]
    if not judged:
        table.skip(_MEASURE, _UNIT, own[0].reason or "too few data", method=method + ending)
        return
    least = min(judged, key=lambda o: o.per_symbol or 0.0)
    estimate = _per_symbol(least, side)
    if estimate is not None:
        written = f", of the {side.bits} bits of a symbol" if least.of == "bits" else ""
        table.add(_MEASURE, replace(estimate, method=method + ending), reason=f"of {who}{written}")


def _per_symbol(outcome: Outcome, side: NonIid) -> Estimate | None:
    if outcome.estimate is None:
        return None
    each = side.bits if outcome.of == "bits" else 1
    e = outcome.estimate
    return replace(e, value=each * e.value, low=each * e.low, high=each * e.high, unit=_UNIT)


def _restart(table: Rows, symbols: Array, subject: Array, found: BySubject, *, alphabet: int) -> None:
    """Attempts as restarts: the worst person's in full; everybody's for symbols that come too often."""
    own = symbols[subject == found.worst_subject]
    try:
        test = restart_test(
            own,
            initial=found.worst.value,
            estimate=lambda part: non_iid(part, alphabet=alphabet).value,
            alphabet=alphabet,
        )
    except InsufficientData as error:
        table.skip(_MEASURE, _UNIT, str(error), method=RESTART + WORST)
        return
    common = _too_common(symbols, subject, found, alphabet=alphabet)
    table.add(
        _MEASURE,
        Estimate(
            value=test.value,
            low=math.nan,
            high=math.nan,
            level=0.99,
            unit=_UNIT,
            side="defender-at-most",
            evidence="counted",
            subjects=1,
            attempts=len(own),
            method=RESTART + WORST,
        ),
        reason=f"attempts of subject {found.worst_subject} as restarts, {test.remark}; {_said(test)}; "
        f"{common}",
    )


def _said(test: RestartTest) -> str:
    if test.passed:
        return "passed"
    why = (
        "a symbol is too common in an attempt or at a place" if not test.sane else "less than half is left"
    )
    return f"not passed ({why}), so that the standard would award no entropy"


def _too_common(symbols: Array, subject: Array, found: BySubject, *, alphabet: int) -> str:
    """How many people repeat a symbol at a place, or in an attempt, more than their assessment allows."""
    groups = [symbols[subject == person] for person in np.unique(subject)]
    tests = sum(map(sum, (own.shape for own in groups)))
    over = 0
    for own, entropy in zip(groups, found.values.values(), strict=True):
        row, column = common_counts(own)
        over += row > sanity_cutoff(
            own.shape[1], entropy, tests=tests, alphabet=alphabet
        ) or column > sanity_cutoff(len(own), entropy, tests=tests, alphabet=alphabet)
    return f"{over} of {len(groups)} people repeat a symbol more often than they are assessed at"
