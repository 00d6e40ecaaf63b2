"""Copying the gesture, live or from video, after practice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.potential import PROPOSED
from attacks.sensing import sensed_belief
from harness.contracts import Belief, View


@dataclass(frozen=True, slots=True)
class Mimicry:
    """The mimic's own muscle, read with the victim's quantiser, late by as much as mimics are."""

    name: str = "mimicry"
    sees: frozenset[str] = frozenset({"mimic"})
    likes: frozenset[str] = frozenset({"helper", "population"})
    potential = PROPOSED["mimicry"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        return sensed_belief(view, "mimic", rng=rng)
