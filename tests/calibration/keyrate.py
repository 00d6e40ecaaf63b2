"""Key-rate intervals on sources of known rate: two and four symbols, Z, Markov, differing people."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.integrate import quad
from scipy.stats import norm

from calibration.case import Case
from harness.contracts import Array, Estimate
from harness.estimators.keyrate import KeyRate, key_rate
from harness.estimators.keyrate_beliefs import believed_key_rate
from harness.estimators.keyrate_symbols import estimated_key_rate

__all__ = ["CASES"]


def symmetric(error: float, alphabet: int = 2) -> Array:
    return np.full((alphabet, alphabet), error / (alphabet - 1)) + np.eye(alphabet) * (
        1 - error - error / (alphabet - 1)
    )


def z_channel(error: float) -> Array:
    return np.array([[1, 0], [error, 1 - error]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A's symbols, possibly staying where they were, and what channels make of them at B and the adversary.

    Half of the people have the second channel to B.
    """

    to_b: tuple[Array, Array]
    to_e: Array
    stays: float = 0.0
    people: int = 12
    attempts: int = 6
    symbols: int = 60

    @property
    def truth(self) -> KeyRate:
        k = len(self.to_e)
        halves = [key_rate(np.einsum("ab,ae->abe", to_b, self.to_e) / k) for to_b in self.to_b]
        return KeyRate(
            **{n: (getattr(halves[0], n) + getattr(halves[1], n)) / 2 for n in KeyRate.__slots__}
        )

    def draw(self, rng: np.random.Generator) -> tuple[Array, Array, Array, Array]:
        k = len(self.to_e)
        rows = self.people * self.attempts
        subject = np.repeat(np.arange(self.people), self.attempts)
        a = rng.integers(0, k, (rows, self.symbols))
        stay = rng.random(a.shape) < self.stays
        stay[:, 0] = False
        # the last position that did not stay holds the symbol
        source = np.maximum.accumulate(np.where(stay, 0, np.arange(self.symbols)), axis=1)
        a = np.take_along_axis(a, source, axis=1)
        kind = rng.integers(0, 2, self.people)[subject]
        cumulative = np.cumsum(np.stack(self.to_b), axis=2)[kind[:, None], a]
        b = (rng.random(a.shape)[..., None] > cumulative[..., :-1]).sum(axis=-1)
        e = (rng.random(a.shape)[..., None] > np.cumsum(self.to_e, axis=1)[a][..., :-1]).sum(axis=-1)
        return a, b, e, subject


SOURCES = {
    "binary symmetric, errors .1 and .25": Source(to_b=(symmetric(0.1),) * 2, to_e=symmetric(0.25)),
    "Z-channel .2 to B, an adversary without a view": Source(
        to_b=(z_channel(0.2),) * 2, to_e=symmetric(0.5)
    ),
    "four symbols that stay with .7, errors .1 and .4": Source(
        to_b=(symmetric(0.1, 4),) * 2, to_e=symmetric(0.4, 4), stays=0.7, symbols=120
    ),
    "half of the people with errors .02, half .2": Source(
        to_b=(symmetric(0.02), symmetric(0.2)), to_e=symmetric(0.25), people=30
    ),
}


def covers(found: Estimate, truth: float) -> bool:
    return bool(found.low <= truth <= found.high)


def by_symbols(rng: np.random.Generator, *, source: Source, quantity: str) -> bool:
    a, b, e, subject = source.draw(rng)
    k = len(source.to_e)
    found = estimated_key_rate(a, b, e, subject, alphabet=k, views=k)
    return covers(getattr(found, quantity), getattr(source.truth, quantity))


def by_beliefs(rng: np.random.Generator, *, source: Source, quantity: str) -> bool:
    """An adversary who knows its channel, and B's."""
    a, b, e, subject = source.draw(rng)
    k = len(source.to_e)
    belief = source.to_e.T / source.to_e.sum(axis=0)[:, None]  # (e, a)
    at_a = -np.log2(belief[e, a]).mean(axis=1)
    at_b = -np.log2((belief @ source.to_b[0])[e, b]).mean(axis=1)
    found = believed_key_rate(a, b, subject, surprise_a=at_a, surprise_b=at_b, alphabet=k)
    return covers(getattr(found, quantity), getattr(source.truth, quantity))


def gaussian_information(rho: float) -> float:
    """Bits that a Gaussian view of correlation rho tells of a sign."""
    slope = rho / np.sqrt(1 - rho**2)

    def lost(x: float) -> float:
        p = norm.cdf(slope * x)
        return float(norm.pdf(x) * -(p * np.log2(p) + (1 - p) * np.log2(1 - p))) if 0 < p < 1 else 0.0

    return 1 - quad(lost, -9, 9)[0]


GAUSSIAN = gaussian_information(0.6)


def soft_view(rng: np.random.Generator, *, people: int) -> bool:
    """Signs of a Gaussian; the adversary sees another of correlation .6, B a tenth of errors."""
    subject = np.repeat(np.arange(people), 6)
    x = rng.standard_normal((len(subject), 60))
    e = 0.6 * x + 0.8 * rng.standard_normal(x.shape)
    a = (x > 0).astype(np.uint8)
    b = a ^ (rng.random(a.shape) < 0.1)
    p = norm.cdf(0.75 * e)
    at_a = -np.log2(np.where(a == 1, p, 1 - p)).mean(axis=1)
    found = believed_key_rate(a, b, subject, surprise_a=at_a, surprise_b=None, alphabet=2)
    return covers(found.lower, key_rate(symmetric(0.1)[:, :, None] / 2).i_ab - GAUSSIAN)


CHANNELS = tuple(SOURCES)
BLIND = "Z-channel .2 to B, an adversary without a view"
SHARED = "its upper end needs both informations, by Bonferroni"
REMARKS = {
    ("i_ae", BLIND): "at 0, the end of what is possible: an interval misses above only",
    ("upper", CHANNELS[0]): SHARED,
    ("upper", CHANNELS[3]): SHARED,
}


def _cases(
    name: str, run: Callable[..., bool], quantities: tuple[str, ...], channels: tuple[str, ...]
) -> list[Case]:
    return [
        Case(
            name=f"{name}: {quantity}",
            channel=channel,
            kind="coverage",
            nominal=0.95,
            run=partial(run, source=SOURCES[channel], quantity=quantity),
            remark=REMARKS.get((quantity, channel), ""),
        )
        for channel in channels
        for quantity in quantities
    ]


CASES: list[Case] = [
    *_cases("estimated_key_rate", by_symbols, ("i_ab", "i_ae", "lower", "upper"), CHANNELS),
    *_cases("believed_key_rate", by_beliefs, ("i_ab", "i_ae", "lower"), CHANNELS[:3]),
    *[
        Case(
            name="believed_key_rate: lower",
            channel=f"Gaussian view of correlation .6, {people} people",
            kind="coverage",
            nominal=0.95,
            run=partial(soft_view, people=people),
        )
        for people in (8, 30)
    ],
]
