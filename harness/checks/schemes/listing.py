"""A list in which A's features hide."""

from __future__ import annotations

import numpy as np

from harness.checks.handing import plain
from harness.checks.outcomes import Breach, at
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase, attempts_with

__all__: list[str] = []


@check("scheme", "list-true")
def list_true(case: SchemeCase) -> None:
    """`listed` names places in the witness, (attempts, points); of A's features at least `needed` are among
    them, where A holds a key, and the witness has two symbols.
    """
    case.has("needed", "listed")
    run, needed = case.run, case.scheme.needed
    rows = attempts_with(case, lambda run: run.established)
    if run.a.alphabet != 2:
        raise Breach("witness()", "alphabet", "2 where features are listed", run.a.alphabet)
    m = run.a.symbols.shape[1]
    if not isinstance(needed, int | np.integer) or not 1 <= needed <= m:
        raise Breach("the scheme", "needed", f"a whole number from 1 to {m}", repr(needed))
    with at("listed()"):
        listed = case.ask("listed()", case.fresh().listed, plain(run.published))
    fits = isinstance(listed, np.ndarray) and listed.ndim == 2 and len(listed) == len(run.keys)
    if not fits or listed.dtype.kind not in "iu":
        got = f"{getattr(listed, 'dtype', type(listed).__name__)} of shape {getattr(listed, 'shape', '')}"
        raise Breach("listed()", "", f"whole numbers of shape ({len(run.keys)}, points)", got)
    for row in rows.tolist():
        places = listed[row]
        if places.min() < 0 or places.max() >= m:
            expected = f"places from 0 to {m - 1}"
            raise Breach("listed()", "", expected, f"{places.min()}..{places.max()}", row=row)
        own = np.flatnonzero(run.a.symbols[row])
        there = int(np.isin(own, places).sum())
        if there < needed:
            expected = f"at least {needed} of A's {len(own)} features among the listed"
            raise Breach("listed()", "", expected, there, row=row)
