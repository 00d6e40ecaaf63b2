"""Attacks judged on made-up runs: beliefs about symbols and keys, and lists of guesses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from hamming_grips import Grips

from harness.contracts import Array, Belief, Guesses, Helper, Witness
from harness.exchange import Honest
from harness.score import disclosure_of, gives_keys, judge, merge
from pinned_figures.keys import rng


@dataclass(frozen=True, slots=True)
class Untold:
    """A scheme whose key is the low bits of its symbols."""

    name: str = "untold"
    signal: str = "force"
    key_bits: int = 8

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return np.tile(witness.symbols & 1, (1, 2))[:, :8].astype(np.uint8), witness.acquired.copy()


def honest_of(scheme: Any, rows: int = 10) -> Honest:
    draw = rng(9)
    symbols = draw.integers(0, 4, (rows, 6)).astype(np.uint8)
    a = Witness(symbols=symbols, alphabet=4, acquired=np.arange(rows) != 3)
    off = np.where(draw.random(symbols.shape) < 0.1, (symbols + 1) % 4, symbols).astype(np.uint8)
    b = Witness(symbols=off, alphabet=4, acquired=np.arange(rows) != 5)
    keys, helper = (
        scheme.generate(a, rng=draw) if hasattr(scheme, "generate") else (scheme.reproduce(a, {})[0], {})
    )
    at_b, accepted = scheme.reproduce(b, helper)
    return Honest(
        sitting=np.arange(rows) // 3, local=np.arange(rows) % 3, subject=np.arange(rows) // 3,
        session=np.zeros(rows, int), a=a, b=b, keys_a=keys, keys_b=at_b, accepted=accepted,
        helper=helper, seconds=np.ones(rows),
    )  # fmt: skip


def judged() -> Any:
    found: list[Any] = []
    prior = np.log(np.tile([0.4, 0.3, 0.2, 0.1], (6, 1)))
    for scheme in (Grips(), Untold()):
        honest = honest_of(scheme)
        disclosure = disclosure_of(scheme, honest)
        found += [disclosure, gives_keys(scheme)]
        attempt = np.array([0, 0, 1, 2, 4, 6, 7, 7])
        named: dict[str, Any] = {"attempt": attempt, "attacker": np.arange(8) % 3 - 1, "prior": prior}
        draw = rng(4)
        lean = draw.dirichlet(np.full(4, 0.5), (8, 6))
        lean[np.arange(8)[:, None], np.arange(6), honest.a.symbols[attempt]] += draw.random((8, 6))
        lean /= lean.sum(axis=2, keepdims=True)
        lean[6] = np.eye(4)[honest.a.symbols[7]]
        of_keys = draw.dirichlet([1, 1], (8, 8))
        listed = draw.integers(0, 2, (8, 5, 8)).astype(np.uint8)
        listed[2:, 3] = honest.keys_a[attempt[2:]]
        with np.errstate(divide="ignore"):
            outcomes = [
                Belief(log_prob=np.log(lean), about="witness", work=3.0),
                Belief(log_prob=np.log(of_keys), about="key", work=2.0),
                Guesses(keys=listed, work=4.0),
            ]
        for outcome in outcomes:
            score = judge(outcome, scheme, honest, disclosure, **named)
            found += [score, merge([score, score])]
    return found


FIGURES: dict[str, Callable[[], Any]] = {"scores": judged}
