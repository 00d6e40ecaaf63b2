"""Decoding from the public helper data alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.sensing import position_prior
from harness.contracts import Belief, View


@dataclass(frozen=True, slots=True)
class HelperLeak:
    """Believes what other people's symbols suggest; the harness decodes the helper data under that."""

    name: str = "helper-leak"
    sees: frozenset[str] = frozenset({"helper", "population"})

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        witness = view.population.witness if view.population else None
        if witness is None:
            raise ValueError("`population` must hold other people's witnesses, got none")
        prior = position_prior(view, witness.symbols.shape[1], witness.alphabet)
        return Belief(log_prob=np.broadcast_to(prior, (view.attempts, *prior.shape)).copy())
