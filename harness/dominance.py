"""Who is at least as good in rate, agreement and strength, and better in one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from harness.quantities import entries_of, shared_adversaries, shared_people, strongest, told
from harness.results import Audit
from harness.sidebyside import Difference, Dominance

__all__ = ["PARTS", "dominances_of", "dominates", "parts_of"]

PARTS = ("rate", "agreement", "strength")
_UNITS = {"rate": " bit/s", "agreement": "", "strength": " log2 rank"}
Parts = tuple[float | None, float | None, float | None]


def parts_of(audit: Audit, scheme: str, *, among: Sequence[str], people: Iterable[int]) -> Parts:
    """Net rate in bit/s, agreement, and mean log2 rank over people under the strongest of some adversaries.

    More is better in each; None: not measured. The rank bounds the strength from above.
    """
    rows = told(entries_of(audit, scheme, None, of=("pair",)))
    top = strongest(audit, scheme, among=among, people=people)
    return rows["net-rate"].value, rows["agreement"].value, None if top is None else top[1]


def dominates(a: Parts, b: Parts) -> bool:
    """Is `a` at least as good in all parts and better in one? A part that is not known settles nothing.

    Examples
    --------
    >>> dominates((1.0, 0.9, 20.0), (1.0, 0.8, 20.0)), dominates((1.0, 0.9, 20.0), (1.0, 0.9, 20.0))
    (True, False)
    >>> dominates((None, 0.9, 20.0), (1.0, 0.8, 20.0))
    False
    """
    both = [(x, y) for x, y in zip(a, b, strict=True) if x is not None and y is not None]
    if len(both) < len(PARTS):
        return False
    return all(x >= y for x, y in both) and any(x > y for x, y in both)


def dominances_of(audit: Audit, differences: Sequence[Difference]) -> list[Dominance]:
    """One verdict for every pair of schemes: on the values, and settled.

    Strength is the mean log2 rank of the true key under the strongest adversary that was measured against
    both, over the people whom both have.
    """
    names = [str(s["name"]) for s in audit.schemes]
    return [_dominance(audit, a, b, differences) for a, b in combinations(names, 2)]


@dataclass(frozen=True, slots=True)
class _Part:
    """One part of two schemes, and the difference over people that can settle it."""

    name: str
    a: float | None
    b: float | None
    difference: Difference | None

    @property
    def lead(self) -> int:
        """1: the first is better; -1: the second; 0: equal."""
        if self.a is None or self.b is None:
            return 0
        return (self.a > self.b) - (self.a < self.b)

    def settled(self) -> bool:
        """Is the lead, or the tie, beyond chance?"""
        if self.lead == 0:
            return self.difference is None or self.difference.equal
        found = self.difference
        return found is not None and found.better == (found.first if self.lead > 0 else found.second)


def _dominance(audit: Audit, first: str, second: str, differences: Sequence[Difference]) -> Dominance:
    cells = [(audit, first), (audit, second)]
    shared = shared_adversaries(cells)
    people = shared_people(cells, shared)
    tops = [strongest(audit, s, among=shared, people=people) for s in (first, second)]
    who = (tops[0][0] if tops[0] else None, tops[1][0] if tops[1] else None)
    values = [parts_of(audit, s, among=shared, people=people) for s in (first, second)]
    own = [d for d in differences if (d.first, d.second) == (first, second)]
    parts = [_Part(name, a, b, _carrier(own, name, who)) for name, a, b in zip(PARTS, *values, strict=True)]
    unknown = [p.name for p in parts if p.a is None or p.b is None]
    on_values = next(
        (name for name, (a, b) in ((first, values), (second, values[::-1])) if dominates(a, b)), None
    )
    settled = on_values if on_values and all(p.settled() for p in parts) else None
    reason = _reason(first, second, parts, unknown, on_values, settled)
    bases = {
        s: told(entries_of(audit, s, None, of=("pair",)))["min-entropy"].method for s in (first, second)
    }
    if "rate" not in unknown and len(set(bases.values())) > 1:
        reason += (
            f"; the rates rest on different figures ({', '.join(f'{s}: {m}' for s, m in bases.items())}), "
            "of which a chain bound may be far too low"
        )
    return Dominance(
        first=first, second=second, values=on_values, settled=settled, reason=reason, strongest=who
    )


def _carrier(own: Sequence[Difference], part: str, who: tuple[str | None, str | None]) -> Difference | None:
    """The difference over people that carries a part."""
    if part == "rate":
        wanted: tuple[str, str | None] = ("net-rate", None)
    elif part == "agreement":
        wanted = ("key-agreement", None)
    else:
        wanted = ("key-rank", who[0]) if who[0] == who[1] else ("strength", " / ".join(map(str, who)))
    return next((d for d in own if (d.measure, d.attack) == wanted), None)


def _reason(
    first: str,
    second: str,
    parts: Sequence[_Part],
    unknown: Sequence[str],
    on_values: str | None,
    settled: str | None,
) -> str:
    names = {1: first, -1: second}
    if unknown:
        return f"not known for both schemes: {' and '.join(unknown)}, so none can be said to dominate"
    leads = [
        f"{names[p.lead]} leads in {p.name} ({p.a:.4g} against {p.b:.4g}{_UNITS[p.name]})"
        for p in parts
        if p.lead
    ]
    if not leads:
        return "equal in rate, agreement and strength"
    said = "; ".join(leads)
    if on_values is None:
        return said
    if settled:
        return f"{said}; beyond chance in every part, or equal for every person"
    open_parts = [p.name for p in parts if not p.settled()]
    return f"{said}; on the values only, chance may explain {' and '.join(open_parts)}"
