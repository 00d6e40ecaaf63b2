"""An earlier recording of the victim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.sensing import sensed_belief
from harness.contracts import Belief, View


@dataclass(frozen=True, slots=True)
class Replay:
    """The victim's last recording in place of today's: full success against a scheme without freshness."""

    name: str = "replay"
    sees: frozenset[str] = frozenset({"earlier"})
    likes: frozenset[str] = frozenset({"population"})

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        return sensed_belief(view, "earlier", rng=rng)
