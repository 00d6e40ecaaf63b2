"""What each adversary asks of whoever carries it out: as claims rate it, or as it proposes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.errors import ContractError
from harness.potential import FACTORS, rating
from harness.results import Audit
from harness.threats import attack_names

__all__ = ["IN_HOUSE", "Effort", "efforts", "proposal"]

RELAYED: Mapping[str, str] = {
    "elapsed_time": "1-month",
    "expertise": "expert",
    "knowledge": "public",
    "window": "moderate",
    "equipment": "specialised",
    "rationale": "Two radios and a device of the same kind near the victim, quick enough for the protocol.",
}
IN_HOUSE: Mapping[str, Mapping[str, str]] = {"relay": RELAYED}
"""Proposals for what the harness runs itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """Five factors, their sum, and who says so."""

    attack: str
    points: int
    band: str
    factors: Mapping[str, str]
    rationale: str
    source: str  # "claims file", "proposed" or "hardest of its parts"


def proposal(attack: object) -> Mapping[str, str] | None:
    """The steps and the rationale that an attack proposes for itself, checked; None if it proposes none.

    Raises
    ------
    ContractError
        If `potential` is no mapping of the five factors and a rationale to known steps.
    """
    stated = getattr(attack, "potential", None)
    if stated is None:
        return None
    name = str(getattr(attack, "name", type(attack).__name__))
    wanted = {*FACTORS, "rationale"}
    if not isinstance(stated, Mapping) or set(stated) != wanted:
        got = sorted(map(str, stated)) if isinstance(stated, Mapping) else type(stated).__name__
        raise ContractError(name, "potential", f"a mapping of {', '.join(sorted(wanted))}", f"{got}")
    steps = {str(k): str(v) for k, v in stated.items()}
    try:
        rating(**steps)
    except ValueError as error:
        raise ContractError(name, "potential", "known steps and a rationale", str(error)) from error
    return steps


def efforts(audit: Audit) -> list[Effort]:
    """Every adversary of an audit that is rated, in the order of the audit.

    A claims file overrides what an attack proposes. A combination asks for the hardest step of each factor
    among its parts, if all of them are rated.

    Parameters
    ----------
    audit : Audit
    """
    proposed = {str(a.get("name")): a.get("potential") for a in audit.attacks}
    stated: dict[str, tuple[Mapping[str, str], str]] = {
        name: (steps, "proposed") for name, steps in {**IN_HOUSE, **proposed}.items() if steps
    }
    if audit.claims is not None:
        for rated in audit.claims.potential:
            steps = {**rated.factors, "rationale": rated.rationale}
            stated[rated.attack] = (steps, "claims file")
    found = []
    for name in attack_names(audit):
        if name in stated:
            found.append(_effort(name, *stated[name]))
        elif "+" in name and all(part in stated for part in name.split("+")):
            hardest = _hardest([stated[part][0] for part in name.split("+")])
            found.append(_effort(name, hardest, "hardest of its parts"))
    return found


def _hardest(parts: list[Mapping[str, str]]) -> dict[str, str]:
    steps = {
        factor: max((part[factor] for part in parts), key=lambda step: points[step])
        for factor, points in FACTORS.items()
    }
    return {
        **steps,
        "rationale": "All of its parts are needed: of each factor their hardest step.",
    }


def _effort(attack: str, steps: Mapping[str, str], source: str) -> Effort:
    points, band = rating(**steps)
    return Effort(
        attack=attack,
        points=points,
        band=band,
        factors={factor: steps[factor] for factor in FACTORS},
        rationale=steps["rationale"],
        source=source,
    )
