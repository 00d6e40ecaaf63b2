"""Video, turned into a waveform."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.potential import PROPOSED
from attacks.sensing import sensed_belief
from harness.contracts import Belief, View


@dataclass(frozen=True, slots=True)
class Camera:
    """What a camera saw of the effort or of the pulse, quantised as the owner does."""

    name: str = "camera"
    sees: frozenset[str] = frozenset({"camera"})
    likes: frozenset[str] = frozenset({"helper", "population"})
    potential = PROPOSED["camera"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        return sensed_belief(view, "camera", rng=rng)
