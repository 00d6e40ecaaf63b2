"""Schemes side by side: one audit of all of them on the same people, attempts and adversaries."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from harness.auditing import audit
from harness.choosing import chosen_schemes
from harness.differences import differences_of
from harness.dominance import dominances_of
from harness.errors import ContractError, UsageError
from harness.exchange import call
from harness.quantities import adversaries, entries_of, strongest, strongest_entries
from harness.results import Audit
from harness.sidebyside import Entry, SideBySide

__all__ = ["compare", "set_beside"]


def compare(schemes: Any, **options: Any) -> SideBySide:
    """Audit several schemes on the same people and set the results side by side.

    Parameters
    ----------
    schemes : sequence of plug-ins
        At least two; as for `harness.audit`.
    **options
        Options of `harness.audit`.

    Returns
    -------
    SideBySide
        Never a total score: how much rate is worth how much strength is not ours to say.

    Raises
    ------
    UsageError
        Fewer than two schemes, and whatever `harness.audit` refuses.

    Examples
    --------
    >>> found = compare(
    ...     ["interval-gray", "interval-gray:cell_s=0.008,name=coarse"],
    ...     attacks="population", subjects=3, sessions=1, attempts=2,
    ... )
    >>> found.schemes
    ['interval-gray', 'coarse']
    """
    given = list(schemes) if isinstance(schemes, list | tuple) else [schemes]
    if len(given) < 2:
        raise UsageError(f"a comparison must have at least two schemes, got {len(given)}: name another one")
    values = [p.value for p in chosen_schemes(given)]
    symbol_bits = {s.name: bits for s in values if (bits := _bits_per_symbol(s)) is not None}
    return set_beside(audit(given, **options), bits_per_symbol=symbol_bits)


def set_beside(found: Audit, *, bits_per_symbol: dict[str, int] | None = None) -> SideBySide:
    """Read a comparison off a finished audit of at least two schemes.

    Parameters
    ----------
    found : Audit
    bits_per_symbol : dict, optional
        Scheme -> bits that encode a symbol; without it min-entropy of the source is given per symbol.
    """
    names = [str(s["name"]) for s in found.schemes]
    symbol_bits = bits_per_symbol or {}
    differences = differences_of(
        found, key_bits={str(s["name"]): int(s["key_bits"]) for s in found.schemes}
    )
    tops = {name: strongest(found, name) for name in names}
    return SideBySide(
        audit=found,
        entries=[e for n in names for e in strongest_entries(found, n, bits_per_symbol=symbol_bits.get(n))],
        by_adversary=list(_by_adversary(found, names)),
        strongest={name: None if top is None else top[0] for name, top in tops.items()},
        differences=differences,
        dominances=dominances_of(found, differences),
    )


def _by_adversary(found: Audit, names: list[str]) -> Iterator[Entry]:
    for name in names:
        for attack in adversaries(found, name):
            yield from entries_of(found, name, attack, of=("adversary",))


def _bits_per_symbol(scheme: Any) -> int | None:
    """Columns of the labels, if a scheme discloses any; whether they are sound is the audit's to say."""
    try:
        labels = call(scheme.name, "labels", getattr, scheme, "labels", None)
    except ContractError:
        return None
    shape: tuple[int, ...] = getattr(labels, "shape", ())
    return int(shape[1]) if len(shape) == 2 and shape[1] else None
