"""What a published list of features costs to open by trying sets of them, without any sensor."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from harness.collecting import Rows
from harness.contracts import Array, Estimate, Helper
from harness.errors import ContractError
from harness.estimators import means
from harness.exchange import Honest, call
from harness.optional_parts import Listing
from harness.results import Finding, Row

__all__ = ["METHOD", "listed_places", "listing_findings", "listing_rows"]

METHOD = "listed-subsets"
_FEASIBLE = {20.0: "high", 64.0: "medium"}
"""Bits of work below which opening is as good as done, and below which it may be done (assumption)."""


def listing_rows(table: Rows, scheme: Any, honest: Honest) -> None:
    """Add the trials that a list costs its adversary on average, if the scheme publishes one.

    Parameters
    ----------
    table : Rows
        Of the scheme, without an attack.
    scheme : Scheme
        Says by `listed` and `needed` what there is to try; of others nothing is added.
    honest : Honest
        How many of A's features each list really holds.
    """
    rows = np.flatnonzero(honest.established)
    if not isinstance(scheme, Listing) or not len(rows):
        return
    name = str(getattr(scheme, "name", "scheme"))
    try:
        needed, places = listed_places(
            scheme, {k: v[rows] for k, v in honest.helper.items()}, honest.a.symbols.shape[1], len(rows)
        )
        genuine = np.take_along_axis(honest.a.symbols[rows] == 1, places, axis=1).sum(axis=1)
        if genuine.min() < needed:
            raise ContractError(
                name, "listed()", f"at least {needed} of A's features in every list", str(genuine.min())
            )
    except ContractError as error:
        table.skip("min-entropy", "bit", str(error), status="failed", method=METHOD)
        return
    points = places.shape[1]
    work = {int(s): _trials(points, int(s), needed) for s in np.unique(genuine)}
    odds = means.subject_mean(
        np.array([2.0 ** -work[int(s)] for s in genuine]),
        honest.subject[rows],
        unit="probability",
        side="attacker-at-least",
        method=METHOD,
    )
    table.add(
        "min-entropy",
        _bits(odds),
        reason=f"log2 of the sets of {needed} of {points} listed features tried on average, drawn evenly, "
        f"until one is A's, who has {genuine.min()} to {genuine.max()} of them; knowing which features are "
        "common, or decoding lists, takes less",
    )


def listed_places(scheme: Any, helper: Helper, m: int, rows: int) -> tuple[int, Array]:
    """How many features open a list, and the places listed (rows, points), checked.

    Raises
    ------
    ContractError
        If they are no numbers of different places in the witness, or too few.
    """
    name, own = str(getattr(scheme, "name", "scheme")), copy.deepcopy(scheme)
    needed = call(name, "needed", getattr, own, "needed")
    places = call(name, "listed()", own.listed, helper)
    wanted = f"({rows}, points) different places below {m}"
    if not isinstance(places, np.ndarray) or places.ndim != 2 or places.dtype.kind not in "iu":
        raise ContractError(name, "listed()", wanted, type(places).__name__)
    ordered = np.sort(places, axis=1)
    if (
        len(places) != rows
        or places.shape[1] == 0
        or (ordered[:, 1:] == ordered[:, :-1]).any()
        or (rows and (ordered[:, 0].min() < 0 or ordered[:, -1].max() >= m))
    ):
        raise ContractError(name, "listed()", wanted, f"{places.dtype}, {places.shape}")
    if not isinstance(needed, int | np.integer) or not 1 <= needed <= places.shape[1]:
        raise ContractError(name, "needed", f"a whole number from 1 to {places.shape[1]}", repr(needed))
    return int(needed), places.astype(np.intp)


def listing_findings(rows: Sequence[Row], say: Any, *, key_bits: int) -> Iterator[Finding]:
    """One finding where trying sets costs less than trying keys."""
    for row in rows:
        if row.method != METHOD or row.measure != "min-entropy" or row.value is None:
            continue
        if row.value < key_bits - 1:
            grave = next((word for bits, word in _FEASIBLE.items() if row.value < bits), "low")
            yield say(
                "opened-by-trials",
                grave,
                f"Whoever tries sets of the listed features opens the key after 2^{row.value:.4g} trials "
                f"on average, with no sensor, where {key_bits} bits are promised.",
                bits=row.value,
            )


def _trials(points: int, genuine: int, needed: int) -> float:
    """log2 of the mean number of sets tried, in random order, none twice, until the first that is A's.

    Of C(r, k) sets C(s, k) are A's; the first of them comes after (C(r, k) + 1) / (C(s, k) + 1) on average.
    """
    return math.log2(math.comb(points, needed) + 1) - math.log2(math.comb(genuine, needed) + 1)


def _bits(odds: Estimate) -> Estimate:
    """Minus log2 of odds: the adversary does at least so well, so at most so much is left."""

    def bits(p: float) -> float:
        return math.nan if math.isnan(p) else -math.log2(p) + 0.0 if p > 0 else math.inf

    high = bits(odds.low)
    return replace(
        odds,
        value=bits(odds.value),
        low=bits(odds.high),
        high=math.nan if math.isinf(high) else high,
        unit="bit",
        side="defender-at-most",
        evidence="counted",
    )
