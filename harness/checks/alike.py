"""Are two answers the same? Symbols, keys and flags to the bit, real numbers up to rounding."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from harness.checks.outcomes import Breach
from harness.contracts import Array, Belief, Guesses, Witness

__all__ = ["in_row", "same", "same_answers", "same_helper", "same_keys", "same_witness"]

ROUNDING = 1e-6  # absolute and relative: libraries add up in another order for another number of rows


def _rows_that_differ(one: Array, two: Array) -> Array:
    """(attempts,) bool."""
    if one.dtype.kind == "f" or two.dtype.kind == "f":
        equal = np.isclose(one, two, rtol=ROUNDING, atol=ROUNDING, equal_nan=True)
    else:
        equal = np.equal(one, two)
    return np.asarray(~equal.reshape(len(one), -1).all(axis=1))


def in_row(array: Array, row: int) -> str:
    """What stands in a row, shortened."""
    return np.array2string(np.asarray(array)[row], threshold=12, edgeitems=4, separator=" ")


def same(member: str, field: str, expected: Any, got: Any, *, when: str) -> None:
    """Raise a Breach at the first row in which two arrays differ.

    Parameters
    ----------
    when : str
        What both were asked alike, as in "from the same stream".
    """
    one, two = np.asarray(expected), np.asarray(got)
    if one.shape != two.shape:
        raise Breach(member, field, f"shape {one.shape}, {when}", f"shape {two.shape}")
    if one.size == 0:
        return
    differ = np.flatnonzero(_rows_that_differ(one, two))
    if len(differ):
        row = int(differ[0])
        place = _first_difference(one[row], two[row])
        raise Breach(
            member,
            field,
            f"the same {when}, {_value(one[row], place)}{_at(place)}",
            _value(two[row], place),
            row=row,
        )


def _first_difference(one: Array, two: Array) -> tuple[int, ...]:
    equal = (
        np.isclose(one, two, rtol=ROUNDING, atol=ROUNDING, equal_nan=True)
        if np.asarray(one).dtype.kind == "f"
        else np.equal(one, two)
    )
    found = np.argwhere(~np.atleast_1d(equal))[0].tolist()
    return tuple(found) if np.ndim(one) else ()


def _value(row: Array, place: tuple[int, ...]) -> str:
    value = np.asarray(row)[place] if place else row
    return f"{value}"


def _at(place: tuple[int, ...]) -> str:
    return f" at {place[0] if len(place) == 1 else place}" if place else ""


def same_witness(member: str, one: Witness, two: Witness, *, when: str) -> None:
    """The same symbols, acquired flags, and features up to rounding where acquired."""
    same(member, "alphabet", np.array([one.alphabet]), np.array([two.alphabet]), when=when)
    same(member, "acquired", one.acquired, two.acquired, when=when)
    same(member, "symbols", one.symbols, two.symbols, when=when)
    if (one.features is None) != (two.features is None):
        raise Breach(member, "features", f"there or not as before, {when}", "the other")
    if one.features is not None and two.features is not None:
        blank = ~np.asarray(one.acquired)[:, None, None]
        same(
            member,
            "features",
            np.where(blank, 0.0, one.features),
            np.where(blank, 0.0, two.features),
            when=when,
        )


def same_helper(member: str, one: Mapping[str, Array], two: Mapping[str, Array], *, when: str) -> None:
    """The same arrays under the same names."""
    if set(one) != set(two):
        raise Breach(member, "helper", f"{', '.join(one) or 'no arrays'}, {when}", ", ".join(two))
    for name in one:
        same(member, f"helper[{name!r}]", one[name], two[name], when=when)


def same_keys(member: str, one: tuple[Array, Array], two: tuple[Array, Array], *, when: str) -> None:
    """Device B's keys and accepted flags; keys that are not accepted are nobody's and may be anything."""
    same(member, "accepted", one[1], two[1], when=when)
    kept = np.asarray(one[1])[:, None]
    same(member, "keys", np.where(kept, one[0], 0), np.where(kept, two[0], 0), when=when)


def same_answers(one: Belief | Guesses, two: Belief | Guesses, *, when: str) -> None:
    """The same belief up to rounding, or the same guesses."""
    member = "believe()"
    if type(one) is not type(two):
        raise Breach(member, "", f"{type(one).__name__}, {when}", type(two).__name__)
    if isinstance(one, Guesses) and isinstance(two, Guesses):
        same(member, "keys", one.keys, two.keys, when=when)
    if isinstance(one, Belief) and isinstance(two, Belief):
        if one.about != two.about:
            raise Breach(member, "about", f"{one.about!r}, {when}", repr(two.about))
        # probabilities: of what is next to impossible the logarithms may differ much
        same(member, "probabilities", np.exp(one.log_prob), np.exp(two.log_prob), when=when)
    same(member, "work", np.array([one.work]), np.array([two.work]), when=when)
