"""Another pair running beside this one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.potential import PROPOSED
from attacks.sensing import sensed_belief
from harness.contracts import Belief, View


@dataclass(frozen=True, slots=True)
class Neighbour:
    """The neighbour's own capture: their hum, their rhythm, and whatever else two pairs share."""

    name: str = "neighbour"
    sees: frozenset[str] = frozenset({"neighbour"})
    likes: frozenset[str] = frozenset({"helper", "population"})
    potential = PROPOSED["neighbour"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        return sensed_belief(view, "neighbour", rng=rng)
