"""Plug-ins that break the contract at run time, each in one way."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np

from harness.contracts import Belief, Guesses, Witness


@dataclass(frozen=True)
class ShortKeys:
    """Returns keys of half the promised length."""

    name: str = "short-keys"
    key_bits: int = 8
    signal: str = "value"

    def witness(self, capture):
        bits = (capture.samples[:, 0, :8] > 0).astype(np.uint8)
        return Witness(symbols=bits, alphabet=2, acquired=np.ones(len(bits), bool))

    def generate(self, witness, *, rng):
        return witness.symbols[:, :4].copy(), {}

    def reproduce(self, witness, helper):
        return witness.symbols.copy(), witness.acquired.copy()


class _Attack:
    sees = frozenset({"remote"})


class WrongShape(_Attack):
    name = "wrong-shape"

    def believe(self, view, *, rng):
        return Belief(log_prob=np.log(np.full((view.attempts, 3, 2), 0.5)))


class Raises(_Attack):
    name = "raises"

    def believe(self, view, *, rng):
        raise RuntimeError("it rained\non the sensor")


class Leaves(_Attack):
    name = "leaves"

    def believe(self, view, *, rng):
        raise SystemExit(0)


class Objects(_Attack):
    name = "objects"

    def believe(self, view, *, rng):
        return Guesses(keys=np.array([[object()]], dtype=object))


class Garbage(_Attack):
    name = "garbage"

    def believe(self, view, *, rng):
        return SimpleNamespace(log_prob=1)


class Talks(_Attack):
    """Prints to standard output and is none the worse for it."""

    name = "talks"

    def believe(self, view, *, rng):
        print('{"kind": "guesses"}')
        m = view.scheme.witness(view.captures["remote"]).symbols.shape[1]
        return Belief(log_prob=np.log(np.full((view.attempts, m, 2), 0.5)))


class NoMembers:
    name = "no-members"
