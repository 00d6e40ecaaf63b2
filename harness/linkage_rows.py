"""Rows of linkage: can helper data of two sessions be told to be of one person?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from harness.collecting import Rows
from harness.contracts import ABORTED, Array
from harness.errors import ContractError, InsufficientData
from harness.estimators.linkage import estimated_linkability, linkage_p_value
from harness.exchange import Honest, call
from harness.likeness import array_likeness, parity_likeness
from harness.score import Disclosure
from harness.streams import stream

__all__ = ["METHODS", "linkage_rows"]

METHODS = ("published-arrays", "parities")
_UNITS = {"linkage": "D_sys", "linkage-test": "p-value"}
_ROWS = 600  # attempts of either session that are compared at most: every pair is a score


def linkage_rows(table: Rows, scheme: Any, honest: Honest, disclosure: Disclosure, *, seed: int) -> None:
    """Add linkability of A's helper data between sessions, by a scheme-blind score and by the parities.

    Parameters
    ----------
    table : Rows
        Of the scheme, without an attack; gets rows `linkage` and `linkage-test` for each of `METHODS`.
    scheme : Scheme
    honest : Honest
        A person's first session is compared with their later ones.
    disclosure : Disclosure
        Without one, parities are untested.
    seed : int
        Names the streams of the permutations.
    """
    if not set(honest.helper) - {ABORTED}:
        _skip(table, METHODS, "the scheme publishes no helper data", status="not-applicable")
        return
    first, second = _halves(honest)
    if len(first) == 0:
        _skip(table, METHODS, "nobody established keys in two sessions")
        return
    _score(
        table, "published-arrays", honest, first, second, array_likeness(honest.helper, first, second), seed
    )
    if disclosure.labels is None:
        reason = disclosure.problem or "the scheme does not disclose what its helper data say"
        _skip(table, METHODS[1:], reason)
        return
    try:
        linear = call(scheme.name, "linear()", scheme.linear, honest.helper)
    except ContractError as error:
        _skip(table, METHODS[1:], str(error), status="failed")
        return
    by_parities = parity_likeness(linear, first, second)
    if by_parities is None:
        _skip(
            table, METHODS[1:], "attempts place their blocks differently: their parities are of other bits"
        )
        return
    _score(table, "parities", honest, first, second, by_parities, seed)


def _skip(table: Rows, methods: tuple[str, ...], reason: str, status: str = "untested") -> None:
    for method in methods:
        for measure, unit in _UNITS.items():
            table.skip(measure, unit, reason, status=status, method=method)


def _halves(honest: Honest) -> tuple[Array, Array]:
    """Attempts of the first session and of later ones, of all who established keys in both."""
    usable = np.flatnonzero(honest.established)
    parts: tuple[list[Array], list[Array]] = ([], [])
    for person in np.unique(honest.subject[usable]):
        own = usable[honest.subject[usable] == person]
        early = honest.session[own] == honest.session[own].min()
        if not early.all():
            parts[0].append(own[early])
            parts[1].append(own[~early])
    if not parts[0]:
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    most = max(1, _ROWS // len(parts[0]))
    first, second = (np.concatenate([rows[:most] for rows in part[:_ROWS]]) for part in parts)
    return first, second


def _score(
    table: Rows, method: str, honest: Honest, first: Array, second: Array, likeness: Array, seed: int
) -> None:
    one = np.broadcast_to(honest.subject[first][:, None], likeness.shape).ravel()
    other = np.broadcast_to(honest.subject[second], likeness.shape).ravel()
    score = likeness.ravel()
    rng = stream(seed, "linkage", method)
    try:
        linkability = estimated_linkability(score, one, other)
        p_value = linkage_p_value(score, one, other, rng=rng)
    except InsufficientData as error:
        _skip(table, (method,), str(error))
        return
    reason = "of this score; a better one may link more"
    table.add("linkage", replace(linkability, method=method), reason=reason)
    why = "are helper data of one person more alike than those of two?"
    table.add("linkage-test", replace(p_value, method=method), reason=why)
