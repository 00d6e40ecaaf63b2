"""Sensors that do not touch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.arrays import array_belief
from attacks.potential import PROPOSED
from harness.contracts import Belief, View


@dataclass(frozen=True, slots=True)
class DistantSensor:
    """The victim's field from afar: weaker and noisier, averaged over the probes, and quantised."""

    name: str = "distant-sensor"
    sees: frozenset[str] = frozenset({"remote"})
    likes: frozenset[str] = frozenset({"helper", "population"})
    potential = PROPOSED["distant-sensor"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        return array_belief(view, "remote", rng=rng)
