"""Another place on the same body."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.potential import PROPOSED
from attacks.sensing import sensed_belief
from harness.contracts import Belief, View


@dataclass(frozen=True, slots=True)
class BodySite:
    """A sensor elsewhere on the victim: another strap, another muscle, the same heartbeat."""

    name: str = "body-site"
    sees: frozenset[str] = frozenset({"other-site"})
    likes: frozenset[str] = frozenset({"helper", "population"})
    potential = PROPOSED["body-site"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        return sensed_belief(view, "other-site", rng=rng)
