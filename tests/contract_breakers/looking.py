"""Attacks that take what they did not ask for without looking it up by its name."""

import numpy as np

from contract_breakers.sound_attacks import Sound
from harness.contracts import Belief


class TakesByBeginning(Sound):
    """Uses any capture whose name starts so."""

    begins = "camera:"

    def believe(self, view, *, rng):
        for name, capture in view.captures.items():
            if name.startswith(self.begins):
                seen = view.scheme.witness(capture).symbols
                return Belief(log_prob=self.logs(seen, self.error(view.population)))
        return super().believe(view, rng=rng)


class TakesTheOwners(TakesByBeginning):
    begins = "device-a"


class TakesTheUnheardOf(Sound):
    """Means over everything that is there."""

    def believe(self, view, *, rng):
        seen = np.mean([view.scheme.witness(c).symbols for c in view.captures.values()], axis=0)
        return Belief(log_prob=self.logs((seen > 0.4).astype(np.uint8), self.error(view.population)))
