"""What the harness is measured against: controls whose truth is known, and flaws with a sound twin."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

from harness.results import Row

__all__ = ["Control", "Flaw", "Truth"]


_BOUNDS = ("exact", "at-least", "at-most")
_PROBABILITIES = ("success-odds", "key-agreement")


def _vacuous(bound: str, value: float) -> bool:
    return (bound == "at-least" and value <= 0) or (bound == "at-most" and value >= 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What arithmetic says of one cell of the result table.

    Parameters
    ----------
    attack : str or None
        None: the honest pair.
    measure : str
    value : float
    source : str
        The arithmetic, in a few words.
    budget, method, unit : optional
        Which of the measure's rows; `method` and `unit` None: the only one.
    bound : "exact", "at-least" or "at-most"
        What arithmetic says of the quantity: its value, or a bound. An interval agrees with a bound if it
        reaches it: of an attack that gets at least .9, an interval above .9 is right.

    Raises
    ------
    ValueError
        If the value is not finite, the bound none of these, or one that no interval of a probability can
        miss.
    """

    attack: str | None
    measure: str
    value: float
    source: str
    budget: int | None = None
    method: str | None = None
    unit: str | None = None
    bound: Literal["exact", "at-least", "at-most"] = "exact"

    def __post_init__(self) -> None:
        if self.bound not in _BOUNDS:
            raise ValueError(f"`bound` of a truth must be one of {', '.join(_BOUNDS)}, got {self.bound!r}")
        if not math.isfinite(self.value):
            raise ValueError(f"`value` of a truth must be a finite number, got {self.value!r}")
        if self.measure in _PROBABILITIES and _vacuous(self.bound, self.value):
            raise ValueError(
                f"a bound must be one that an interval can miss, got {self.bound} {self.value:g} for the "
                f"probability {self.measure}: leave it out"
            )

    def of(self, row: Row) -> bool:
        """Is it this row that the truth speaks of?"""
        return (
            row.attack == self.attack
            and row.measure == self.measure
            and row.budget == self.budget
            and self.method in (None, row.method)
            and self.unit in (None, row.unit)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """A corpus, a scheme and attacks, with what an audit of them must find.

    Parameters
    ----------
    corpus : Corpus
        A dataclass with a field `seed`; its size is its own.
    attacks : tuple of str or Attack
        As `harness.audit` takes them.
    sound : bool
        A sound control must not be flagged; any other must.
    """

    name: str
    summary: str
    corpus: Any
    scheme: Any
    attacks: tuple[Any, ...]
    truths: tuple[Truth, ...]
    sound: bool

    def seeded(self, seed: int) -> Control:
        """The same with other people: the corpus drawn again."""
        return replace(self, corpus=replace(self.corpus, seed=seed))


@dataclass(frozen=True, slots=True, kw_only=True)
class Flaw:
    """A control with something wrong, and its twin without that one thing.

    Parameters
    ----------
    planted, twin : Control
        The first must be flagged, the second must not.
    found_by : frozenset of str
        Ids of the findings that are right: at least one of them must be of severity medium or more. Another
        finding is no proof that this flaw is seen.
    met : str
        Where it is met in practice, in a few words.
    """

    planted: Control
    twin: Control
    found_by: frozenset[str]
    met: str

    def __post_init__(self) -> None:
        if self.planted.sound or not self.twin.sound:
            raise ValueError(
                "a flaw must be planted in an unsound control and have a sound twin, "
                f"got {self.planted.name} and {self.twin.name}"
            )
        if not self.found_by:
            raise ValueError(f"a flaw must name the findings that see it, got none for {self.planted.name}")

    @property
    def name(self) -> str:
        return self.planted.name
