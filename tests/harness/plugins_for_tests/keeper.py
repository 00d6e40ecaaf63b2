"""A scheme that keeps A's keys where a copy does not separate them, and an attack that looks there."""

import sys

import numpy as np

from fixtures.controls import SignCommitment
from harness.contracts import Guesses

STORE = []


class Keeper:
    """Honest in what it returns; its class and module remember every key."""

    name, key_bits, signal = "keeper", 12, "value"
    kept = []  # noqa: RUF012 - shared on purpose: this is the flaw

    def witness(self, capture):
        return SignCommitment().witness(capture)

    def generate(self, witness, *, rng):
        keys, helper = SignCommitment().generate(witness, rng=rng)
        self.kept.append(keys)
        STORE.append(keys)
        return keys, helper

    def reproduce(self, witness, helper):
        return SignCommitment().reproduce(witness, helper)


class Looks:
    """Guesses every key that the scheme's class or module holds."""

    name = "looks"
    sees = frozenset({"helper"})

    def believe(self, view, *, rng):
        kind = type(view.scheme)
        module = sys.modules.get(kind.__module__)
        found = [*kind.kept, *getattr(module, "STORE", [])]
        keys = np.concatenate([*found, rng.integers(0, 2, (1, 12)).astype(np.uint8)])
        return Guesses(keys=np.broadcast_to(keys[:4096], (view.attempts, *keys[:4096].shape)).copy())
