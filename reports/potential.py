"""What adversaries must bring along."""

from __future__ import annotations

from collections.abc import Sequence

from harness.efforts import Effort
from reports.model import Cell, Table
from reports.wording import adversary_text, clean

__all__ = ["potential_table"]


def potential_table(rated: Sequence[Effort]) -> Table:
    """One row an adversary, and who rates it."""
    rows = tuple(
        (
            Cell(adversary_text(effort.attack)),
            Cell(str(effort.points), clean(effort.band)),
            Cell(clean("; ".join(f"{n.replace('_', ' ')} {step}" for n, step in effort.factors.items()))),
            Cell(clean(effort.rationale), clean(effort.source)),
        )
        for effort in rated
    )
    caption = (
        "The more points, the more an adversary must bring along. Where the claims file does not rate it, "
        "an attack proposes a rating of its own, which is an assumption about one prepared attacker. "
        "Factors and points of the Common Evaluation Methodology; bands and some steps of time from memory."
    )
    return Table(caption, ("Adversary", "Points", "Factors", "Rationale"), rows, key="potential")
