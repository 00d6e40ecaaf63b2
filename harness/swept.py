"""What a sweep says: points, which of them are best, and what became of the chosen one on other people."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from harness.results import Audit
from harness.rows import Row

__all__ = ["CURVES", "VERSION", "Choice", "Confirmation", "Parameter", "Point", "Sweep"]

VERSION = 1
CURVES = ("agreement", "net-rate", "min-entropy", "key-rank", "odds-1", "odds-2^20", "odds-2^40")
"""The quantities that a sweep follows; those of an adversary are the strongest one's at each point."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """A parameter and the values it takes; `of` is "scheme" or "corpus"."""

    of: str
    name: str
    values: tuple[Any, ...]

    @property
    def label(self) -> str:
        """``scheme.NAME`` or ``corpus.NAME``."""
        return f"{self.of}.{self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One combination of values.

    Attributes
    ----------
    number : int
        From 1, in the order of the sweep.
    settings : mapping
        Label of a parameter -> its value.
    audit : Audit or None
        What was measured, of this point's scheme alone; None: its plug-in refused the parameters.
    refusal : str or None
        Why.
    strongest : str or None
        The adversary of the curves here.
    rows : mapping
        Quantity of `CURVES` -> row.
    parts : tuple of three float or None
        Net rate, agreement, strength; the strength under the strongest of the adversaries measured wherever
        any was, over the people measured there.
    claims : str or None
        What became of the claims, in words; None: none were declared.
    admissible : bool
        All claims hold; without claims, no other point dominates this one.
    """

    number: int
    settings: Mapping[str, Any]
    audit: Audit | None
    refusal: str | None
    strongest: str | None
    rows: Mapping[str, Row]
    parts: tuple[float | None, float | None, float | None]
    claims: str | None
    admissible: bool

    @property
    def status(self) -> str:
        """ "measured", "refused" or "failed"."""
        if self.audit is None:
            return "refused"
        return "failed" if self.audit.failed else "measured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmation:
    """The chosen point on people who had no part in choosing it."""

    people: str
    seed: int
    audit: Audit
    strongest: str | None
    rows: Mapping[str, Row]
    differences: Mapping[str, float | None]  # confirmed less chosen, by quantity
    claims: str | None
    holds: bool | None  # do all claims hold here too? None: none were declared


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The point picked from the admissible ones, or why none was; its confirmation, or why it has none."""

    point: int | None
    reason: str
    confirmation: Confirmation | None
    unconfirmed: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """What a sweep found.

    `settings` holds seed, command, attacks and size; `scheme` and `corpus` what was varied, before
    variation; `people` whose data the points are measured on.
    """

    parameters: Sequence[Parameter]
    points: Sequence[Point]
    choice: Choice
    settings: Mapping[str, Any]
    scheme: Mapping[str, Any]
    corpus: Mapping[str, Any]
    people: str
    notes: Sequence[str]

    @property
    def failed(self) -> bool:
        """Did a plug-in fail at run time, at a point or in the confirmation?"""
        confirmed = self.choice.confirmation
        return any(p.status == "failed" for p in self.points) or (
            confirmed is not None and confirmed.audit.failed
        )

    @property
    def chosen(self) -> Point | None:
        """The chosen point, if one was."""
        return next((p for p in self.points if p.number == self.choice.point), None)

    def to_json(self) -> str:
        """The text of `sweep.json`: sorted keys, unrounded numbers that round-trip, NaN never."""
        confirmed = self.choice.confirmation
        content = {
            "version": VERSION,
            "settings": dict(self.settings),
            "scheme": dict(self.scheme),
            "corpus": dict(self.corpus),
            "people": self.people,
            "notes": list(self.notes),
            "parameters": [
                {"of": p.of, "name": p.name, "values": [_plain(v) for v in p.values]}
                for p in self.parameters
            ],
            "points": [_point(p) for p in self.points],
            "choice": {
                "point": self.choice.point,
                "reason": self.choice.reason,
                "unconfirmed": self.choice.unconfirmed,
                "confirmation": None if confirmed is None else _confirmation(confirmed),
            },
        }
        return json.dumps(content, indent=1, sort_keys=True, allow_nan=False) + "\n"


def _point(point: Point) -> dict[str, Any]:
    rate, agreement, strength = point.parts
    return {
        "number": point.number,
        "settings": {k: _plain(v) for k, v in point.settings.items()},
        "status": point.status,
        "refusal": point.refusal,
        "strongest": point.strongest,
        "rate": rate,
        "agreement": agreement,
        "strength": strength,
        "claims": point.claims,
        "admissible": point.admissible,
        "quantities": {q: asdict(r) for q, r in point.rows.items()},
    }


def _confirmation(confirmed: Confirmation) -> dict[str, Any]:
    return {
        "people": confirmed.people,
        "seed": confirmed.seed,
        "strongest": confirmed.strongest,
        "differences": dict(confirmed.differences),
        "claims": confirmed.claims,
        "holds": confirmed.holds,
        "quantities": {q: asdict(r) for q, r in confirmed.rows.items()},
    }


def _plain(value: Any) -> Any:
    """A value of a parameter as JSON holds it; objects by their words."""
    if isinstance(value, str | int | float | bool) or value is None:
        return value
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return repr(value)
