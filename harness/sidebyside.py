"""What a comparison of schemes says: quantities, differences over the same people, and who dominates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.results import Audit
from harness.rows import Row

__all__ = ["LEVEL", "QUANTITIES", "Difference", "Dominance", "Entry", "Quantity", "SideBySide"]

LEVEL = 0.95
"""Two-sided level of a difference's interval; its complement is the family-wise level of "better"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One line of the page. `of` says whose it is: "pair" (the honest devices) or "adversary"."""

    slug: str
    title: str
    of: str


QUANTITIES = tuple(
    Quantity(slug=slug, title=title, of=of)
    for slug, title, of in (
        ("raw-rate", "Raw rate, symbols taken as uniform", "pair"),
        ("net-rate", "Net secret rate given helper data, failures included", "pair"),
        ("time-to-strength", "Time to 128 bits of min-entropy", "pair"),
        ("bit-mismatch", "Bits that differ before correction", "pair"),
        ("agreement", "Key agreement, failures counted", "pair"),
        ("agreement-worst", "Key agreement of the worst subject", "pair"),
        ("agreement-5th-percentile", "Key agreement of the 5th-percentile subject", "pair"),
        ("expected-attempts", "Expected attempts until a key is shared", "pair"),
        ("expected-time", "Expected time until a key is shared", "pair"),
        ("public-bits", "Public bits per key bit", "pair"),
        ("source-min-entropy", "Source min-entropy per bit, worst subject", "pair"),
        ("min-entropy", "Min-entropy of the key given helper data", "pair"),
        ("key-information", "I(key; view, helper data)", "adversary"),
        ("attacker-bit-agreement", "Attacker's agreement before decoding", "adversary"),
        ("odds-1", "Odds at 1 guess", "adversary"),
        ("odds-2^20", "Odds at 2^20 guesses", "adversary"),
        ("odds-2^40", "Odds at 2^40 guesses", "adversary"),
        ("guesses-1-percent", "log2 of the guesses for odds of 1 %", "adversary"),
        ("guesses-50-percent", "log2 of the guesses for odds of 50 %", "adversary"),
        ("key-rank", "Median log2 rank of the true key", "adversary"),
        ("worst-victim", "Odds at 1 guess against the worst victim", "adversary"),
        ("advantage", "Advantage over `population`, log2 rank", "adversary"),
        ("min-entropy-enrolments", "Min-entropy after several enrolments", "pair"),
        ("linkage", "Linkage of enrolments, D_sys", "pair"),
        ("min-entropy-injection", "Min-entropy per bit under injection at 3σ", "pair"),
        ("attack-potential", "Lowest attack potential that beats the claimed odds", "pair"),
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One quantity of one scheme; `row` carries the number, or why there is none."""

    quantity: str
    row: Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One measure of two schemes on the same people: first minus second.

    Attributes
    ----------
    first, second : str
        Names of the schemes.
    attack : str or None
        The adversary; None for the honest pair. Of "strength": the two schemes' strongest.
    measure : str
        Of the values by subject, or "net-rate" or "strength", which are made of them.
    budget : int or None
    means : (float, float)
        Means over the people that both have.
    value, low, high : float
        Mean difference and its interval at `LEVEL`; ends None where there are too few people.
    p, adjusted : float or None
        Two-sided; `adjusted` by Holm over all differences of the comparison. None: cannot be tested.
    people : int
    equal : bool
        Every person has the very same value under both schemes.
    better : str or None
        The scheme that is better at the family-wise level, if one is.
    reason : str
        In words.
    """

    first: str
    second: str
    attack: str | None
    measure: str
    budget: int | None
    means: tuple[float, float]
    value: float
    low: float | None
    high: float | None
    p: float | None
    adjusted: float | None
    people: int
    equal: bool
    better: str | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dominance:
    """Does one of two schemes do at least as well in rate, agreement and strength, and better in one?

    `values` names the scheme that does on the values alone, `settled` the one whose lead is beyond chance
    in every part that carries it; None: neither. `reason` says why. `strongest` holds the adversary that
    sets the strength of each, None where no adversary was measured for both.
    """

    first: str
    second: str
    values: str | None
    settled: str | None
    reason: str
    strongest: tuple[str | None, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """Schemes side by side, from one audit of all of them on the same people.

    Attributes
    ----------
    audit : Audit
    entries : sequence of Entry
        Every quantity of every scheme; an adversary's are those of the scheme's strongest one.
    by_adversary : sequence of Entry
        The adversaries' quantities for each adversary.
    strongest : mapping
        Scheme -> its strongest adversary (least mean log2 rank), None if none was measured.
    differences, dominances : sequences
    """

    audit: Audit
    entries: Sequence[Entry]
    by_adversary: Sequence[Entry]
    strongest: Mapping[str, str | None]
    differences: Sequence[Difference]
    dominances: Sequence[Dominance]

    @property
    def schemes(self) -> list[str]:
        """Names of the schemes, in the order they were given."""
        return [str(s["name"]) for s in self.audit.schemes]

    @property
    def failed(self) -> bool:
        """Did a plug-in fail at run time?"""
        return self.audit.failed
