"""Two schemes on the same people: how far apart, and whether chance explains it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from harness.estimators import multiple, paired
from harness.quantities import people_of, shared_adversaries, shared_people, strongest
from harness.results import Audit
from harness.sidebyside import LEVEL, Difference
from harness.vocabulary import MEASURES

__all__ = ["differences_of", "net_rates"]

_MADE = {"net-rate": True, "strength": True}  # of the values by subject, so not in the table of measures
_RANKS = ("key-rank", "strength")


@dataclass(frozen=True, slots=True)
class _Pairing:
    """Values of the same people under two schemes."""

    first: str
    second: str
    attack: str | None
    measure: str
    budget: int | None
    a: Mapping[int, float]
    b: Mapping[int, float]


def net_rates(audit: Audit, scheme: str) -> dict[int, float]:
    """Subject -> bits per second that are left given helper data, failed attempts included.

    A person's part in the pooled min-entropy, times the person's agreement, over the person's time. Empty
    where the min-entropy is not known person by person.
    """
    bits, agreed, seconds = (
        people_of(audit, scheme, None, m) for m in ("min-entropy", "key-agreement", "time")
    )
    shared = sorted(bits.keys() & agreed.keys() & seconds.keys())
    return {s: bits[s] * agreed[s] / seconds[s] for s in shared if seconds[s] > 0}


def differences_of(audit: Audit, *, key_bits: Mapping[str, int]) -> list[Difference]:
    """Every measure with values of single people, for every pair of schemes, Holm-adjusted over all.

    Parameters
    ----------
    audit : Audit
        Of at least two schemes on the same people.
    key_bits : mapping
        Scheme -> length of its key, which is said beside ranks where it differs.

    Returns
    -------
    list of Difference
        Pair by pair; measures in the order of the audit, "net-rate" and "strength" last.
    """
    names = [str(s["name"]) for s in audit.schemes]
    raw = [
        _difference(pairing, key_bits)
        for first, second in combinations(names, 2)
        for pairing in _pairings(audit, first, second)
    ]
    adjusted = iter(multiple.holm([d.p for d in raw if d.p is not None]))
    return [_judged(d, None if d.p is None else float(next(adjusted))) for d in raw]


def _pairings(audit: Audit, first: str, second: str) -> list[_Pairing]:
    theirs = [p for p in audit.per_subject if p.scheme in (first, second)]
    keys = dict.fromkeys((p.attack, p.measure, p.budget) for p in theirs)
    found = [
        _Pairing(first, second, *key, people_of(audit, first, *key), people_of(audit, second, *key))
        for key in keys
    ]
    found.append(
        _Pairing(first, second, None, "net-rate", None, net_rates(audit, first), net_rates(audit, second))
    )
    cells = [(audit, first), (audit, second)]
    shared = shared_adversaries(cells)
    both = shared_people(cells, shared)
    tops = [strongest(audit, s, among=shared, people=both) for s in (first, second)]
    who = [top[0] for top in tops if top is not None]
    if len(who) == 2 and who[0] != who[1]:
        # with one and the same adversary this is a key-rank, which stands above
        ranks = [people_of(audit, s, a, "key-rank") for s, a in zip((first, second), who, strict=True)]
        found.append(_Pairing(first, second, " / ".join(who), "strength", None, *ranks))
    return [p for p in found if p.a.keys() & p.b.keys()]


def _difference(pairing: _Pairing, key_bits: Mapping[str, int]) -> Difference:
    people = sorted(pairing.a.keys() & pairing.b.keys())
    a, b = (np.array([side[s] for s in people]) for side in (pairing.a, pairing.b))
    found = paired.mean_difference(a, b, level=LEVEL)
    return Difference(
        first=pairing.first,
        second=pairing.second,
        attack=pairing.attack,
        measure=pairing.measure,
        budget=pairing.budget,
        means=(float(a.mean()), float(b.mean())),
        value=found.value,
        low=found.low,
        high=found.high,
        p=found.p,
        adjusted=None,
        people=len(people),
        equal=bool(np.array_equal(a, b)),
        better=None,
        reason=_proviso(pairing, key_bits),
    )


def _proviso(pairing: _Pairing, key_bits: Mapping[str, int]) -> str:
    if pairing.measure in ("min-entropy", "net-rate"):
        return "by each person's part in the pooled min-entropy, which may exceed the key's length"
    bits = [key_bits[s] for s in (pairing.first, pairing.second)]
    if pairing.measure not in _RANKS or bits[0] == bits[1]:
        return ""
    return f"keys of {bits[0]} and {bits[1]} bits"


def _judged(found: Difference, adjusted: float | None) -> Difference:
    """The difference with its adjusted p, and in words who is better."""
    more_is_better = _MADE.get(found.measure)
    if found.measure in MEASURES:
        more_is_better = MEASURES[found.measure].more_is_better
    better = None
    if found.equal:
        said = "equal for every person"
    elif adjusted is None:
        said = f"too few people to be told apart, {found.people}"
    elif adjusted > 1 - LEVEL:
        said = "not told apart"
    elif more_is_better is None:
        said = "they differ; which is better depends on the use"
    else:
        better = found.first if (found.value > 0) is more_is_better else found.second
        said = f"{better} is better"
    reason = f"{said}; {found.reason}" if found.reason else said
    return replace(found, adjusted=adjusted, better=better, reason=reason)
