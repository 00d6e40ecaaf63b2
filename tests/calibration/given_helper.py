"""Intervals of what helper data leave of a key: of the draws alone, and of a source fitted to people."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

import numpy as np

from calibration.case import Case
from harness.contracts import Array
from harness.estimators.bounded_mean import bounded_mean
from harness.estimators.entropy.fitted_markov import markov_min_entropy
from harness.estimators.entropy.given_helper import estimated_min_entropy
from harness.estimators.entropy.joint_min_entropy import joint_min_entropy
from harness.estimators.entropy.sampled_min_entropy import sampled_min_entropy
from harness.estimators.entropy.symbol_chains import SymbolChain, independent_symbols, stationary_chain
from schemes.codes import golay23, hamming

__all__ = ["CASES"]

LEVEL = 0.95
BIT = np.array([[0], [1]], np.uint8)
TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
HAMMING, GOLAY = hamming(3).parity, golay23().parity
BETTING = "betting on the mean covers more than it says, at any distribution"


def stays(share: float) -> Array:
    """(3, 3) transitions of a symbol that is as the one before with this share."""
    return np.full((3, 3), (1 - share) / 2) + np.eye(3) * (1.5 * share - 0.5)


# --- the draws alone: the source is known, and so is the exact value


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    parity: Array
    labels: Array
    chain: SymbolChain
    blocks: int
    draws: int = 50

    @property
    def positions(self) -> Array:
        n = self.parity.shape[1]
        return np.arange(self.blocks * n).reshape(self.blocks, n)

    def exact(self) -> float:
        return _exact(self)

    def covers(self, rng: np.random.Generator) -> bool:
        found = sampled_min_entropy(
            self.parity, self.positions, self.labels, self.chain, rng=rng, draws=self.draws, level=LEVEL
        )
        return found.low <= self.exact() <= found.high


@cache
def _exact(known: Known) -> float:
    return joint_min_entropy(known.parity, known.positions, known.labels, known.chain)


def moving(seed: int, symbols: int) -> SymbolChain:
    """A chain whose step differs from one symbol to the next."""
    rng = np.random.default_rng(seed)
    return SymbolChain(rng.dirichlet(np.ones(3)), rng.dirichlet(np.ones(3), (symbols - 1, 3)))


KNOWN = {
    "ternary, stays with .95, 8 Hamming blocks: odds near 1": Known(
        HAMMING, TERNARY, stationary_chain(stays(0.95), 28), 8
    ),
    "ternary, stays with .5, 8 Hamming blocks": Known(
        HAMMING, TERNARY, stationary_chain(stays(0.5), 28), 8
    ),
    "ternary, stays with .4, 40 Hamming blocks: odds of 2^-60": Known(
        HAMMING, TERNARY, stationary_chain(stays(0.4), 140), 40
    ),
    "ternary, another step at each symbol, 4 Hamming blocks": Known(HAMMING, TERNARY, moving(0, 14), 4),
    "bits that stay with .8, 8 Hamming blocks": Known(
        HAMMING, BIT, stationary_chain(np.array([[0.8, 0.2], [0.2, 0.8]]), 56), 8
    ),
    "ternary, stays with .7, 3 Golay blocks": Known(
        GOLAY, TERNARY, stationary_chain(stays(0.7), 35), 3, 20
    ),
}


# --- the mean of bounded values


def mean_covers(
    draw: Callable[[np.random.Generator], Array], mean: float, rng: np.random.Generator
) -> bool:
    low, high = bounded_mean(draw(rng), level=LEVEL)
    return low <= mean <= high


def beta(a: float, b: float, rng: np.random.Generator) -> Array:
    return rng.beta(a, b, 100)


def coins(share: float, rng: np.random.Generator) -> Array:
    return (rng.random(100) < share).astype(float)


# --- a source fitted to people who differ


SOURCE: dict[str, Any] = {"labels": TERNARY, "parity": HAMMING, "limit": 16.0}


@dataclass(frozen=True, slots=True, eq=False)
class People:
    """Twenty people of ten attempts; everyone has one of these chains, drawn alike."""

    kinds: tuple[SymbolChain, ...]
    people: int = 20
    attempts: int = 10
    blocks: int = 4

    def symbols(self, rng: np.random.Generator) -> Array:
        kind = np.repeat(rng.integers(0, len(self.kinds), self.people), self.attempts)
        upto = np.stack([k.start.cumsum() for k in self.kinds])[kind]
        places = rng.random((len(kind), self.kinds[0].symbols))
        found = np.zeros(places.shape, np.uint8)
        for t in range(places.shape[1]):
            if t:
                upto = np.stack([k.steps[t - 1].cumsum(axis=1) for k in self.kinds])[kind, found[:, t - 1]]
            found[:, t] = (places[:, t, None] > upto[:, :-1]).sum(axis=1)
        return found

    @property
    def subject(self) -> Array:
        return np.repeat(np.arange(self.people), self.attempts)

    @property
    def positions(self) -> Array:
        return np.arange(self.blocks * 7).reshape(self.blocks, 7)

    def markov_truth(self) -> float:
        return _markov_truth(self)

    def markov_covers(self, rng: np.random.Generator) -> bool:
        found, _ = markov_min_entropy(
            self.symbols(rng), self.subject, rng=rng, level=LEVEL, positions=self.positions, **SOURCE
        )
        return found.low <= self.markov_truth() <= found.high

    def independent_covers(self, rng: np.random.Generator) -> bool:
        found = estimated_min_entropy(
            self.symbols(rng), self.subject, level=LEVEL, positions=EVEN, **SOURCE
        )
        return found.low <= _independent_truth(self) <= found.high


EVEN = np.array([[0, 1, 2, 3, 4, 5, -1], [6, 7, 8, 9, 10, 11, -1]])  # no symbol straddles


@cache
def _markov_truth(people: People) -> float:
    """The chain that all people together have, in the limit of many."""
    shares = np.mean([k.start for k in people.kinds], axis=0)
    pairs = np.mean([k.start[:, None] * k.steps[0] for k in people.kinds], axis=0)
    step = pairs / pairs.sum(axis=1, keepdims=True)
    m = people.kinds[0].symbols
    pooled = SymbolChain(shares, np.broadcast_to(step, (m - 1, 3, 3)))
    return joint_min_entropy(HAMMING, people.positions, TERNARY, pooled)


@cache
def _independent_truth(people: People) -> float:
    shares = np.mean([k.start for k in people.kinds], axis=0)
    alike = independent_symbols(np.tile(shares, (people.kinds[0].symbols, 1)))
    return joint_min_entropy(HAMMING, EVEN, TERNARY, alike)


def favouring(symbol: int) -> SymbolChain:
    """Symbols that stay with .5, and move to one of the others more readily than to the third."""
    step = np.full((3, 3), 0.15)
    np.fill_diagonal(step, 0.5)
    step[:, symbol] += 0.35 * (np.arange(3) != symbol)
    step[symbol] = np.where(np.arange(3) == symbol, 0.7, 0.15)
    return stationary_chain(step / step.sum(axis=1, keepdims=True), 14)


def alike(*shares: float) -> SymbolChain:
    return independent_symbols(np.tile(shares, (14, 1)))


PEOPLE = {
    "everyone stays with .6": People((stationary_chain(stays(0.6), 14),)),
    "who stay with .4 or .8 each": People(tuple(stationary_chain(stays(s), 14) for s in (0.4, 0.8))),
    "who stay with .4 or .8": People(tuple(stationary_chain(stays(s), 14) for s in (0.4, 0.8)), people=8),
    "people favour the first or the last symbol": People((favouring(0), favouring(2))),
    "one in four stays with .95, the others with .5": People(
        tuple(stationary_chain(stays(s), 14) for s in (0.95, 0.5, 0.5, 0.5))
    ),
    "independent at .25, .5, .25": People((alike(0.25, 0.5, 0.25),)),
    "people favour one end, independent": People((alike(0.5, 0.3, 0.2), alike(0.2, 0.3, 0.5))),
    "uniform and independent": People((alike(1 / 3, 1 / 3, 1 / 3),)),
}
ADDED = "widened by the draws, and above by what few people understate"
SHORT = (
    "at equal shares any deviation of the sample lowers the figure: every miss lies above, so the lower "
    "end holds and too little is said of a strong source; the row says so"
)

CASES: list[Case] = [
    *(
        Case(
            name="sampled_min_entropy",
            channel=channel,
            kind="coverage",
            nominal=LEVEL,
            run=known.covers,
            remark=BETTING,
        )
        for channel, known in KNOWN.items()
    ),
    *(
        Case(
            name="bounded_mean",
            channel=f"100 values, {channel}",
            kind="coverage",
            nominal=LEVEL,
            run=partial(mean_covers, draw, mean),
            remark=BETTING,
        )
        for channel, draw, mean in (
            ("0 or 1, one in fifty 1", partial(coins, 0.02), 0.02),
            ("0 or 1 at .5", partial(coins, 0.5), 0.5),
            ("beta(.5, .5)", partial(beta, 0.5, 0.5), 0.5),
            ("beta(30, 90)", partial(beta, 30, 90), 0.25),
        )
    ),
    *(
        Case(
            name="markov_min_entropy",
            channel=f"{people.people} people, {channel}",
            kind="coverage",
            nominal=LEVEL,
            run=people.markov_covers,
            remark=ADDED,
        )
        for channel, people in PEOPLE.items()
    ),
    *(
        Case(
            name="estimated_min_entropy",
            channel=f"20 people, {channel}",
            kind="coverage",
            nominal=LEVEL,
            run=PEOPLE[channel].independent_covers,
            remark=SHORT if channel.startswith("uniform") else "",
            short=channel.startswith("uniform"),
        )
        for channel in (
            "independent at .25, .5, .25",
            "people favour one end, independent",
            "uniform and independent",
        )
    ),
]
