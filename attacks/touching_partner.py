"""A second person in contact with the victim: holding still, or shaking hands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.choosing import best_for_others
from attacks.potential import PROPOSED
from attacks.sensing import sensed_belief
from harness.contracts import Belief, View

ROLES = ("partner-touch", "handshake")


@dataclass(frozen=True, slots=True)
class TouchingPartner:
    """The partner's own electrodes, in whichever of the two contacts told more of other people."""

    name: str = "touching-partner"
    sees: frozenset[str] = frozenset({"partner-touch"})
    likes: frozenset[str] = frozenset({"handshake", "helper", "population"})
    potential = PROPOSED["touching-partner"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        return sensed_belief(view, best_for_others(view, ROLES, rng=rng), rng=rng)
