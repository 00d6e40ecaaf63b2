"""Linkage intervals and test on scores whose D_sys is known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from scipy.integrate import quad
from scipy.stats import binom, norm

from calibration.case import Case
from harness.contracts import Array
from harness.estimators.linkage import (
    estimated_linkability,
    linkage_p_value,
    local_linkability,
    system_linkability,
)

__all__ = ["CASES"]


@cache
def shifted_normals(shift: float) -> float:
    """D_sys of two normal scores of one spread, by numerical integration."""

    def part(s: float) -> float:
        return float(norm.pdf(s, shift) * local_linkability(np.exp(shift * s - shift**2 / 2)))

    if shift == 0:
        return 0.0
    return float(quad(part, shift / 2, shift + 12)[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Normal scores of all pairs of sessions; mated ones are shifted.

    ``shared`` is the part of a score's variance that its two sessions bring along, whoever they are of.
    """

    shift: float
    people: int = 20
    each: int = 2  # pairs of attempts of two sessions
    shared: float = 0.0

    @property
    def truth(self) -> float:
        return shifted_normals(self.shift)

    def scores(self, rng: np.random.Generator) -> Array:
        n = self.people
        score = np.sqrt(1 - self.shared) * rng.standard_normal((n, n, self.each))
        score += np.sqrt(self.shared / 2) * rng.standard_normal((n, 1, 1))
        score += np.sqrt(self.shared / 2) * rng.standard_normal((1, n, 1))
        score[np.arange(n), np.arange(n)] += self.shift
        return score


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """Agreements in twelve places, .5 each between people and more within one: scores with many ties."""

    agreeing: float
    people: int = 20
    each: int = 2

    @property
    def truth(self) -> float:
        k = np.arange(13)
        return system_linkability(binom.pmf(k, 12, self.agreeing), binom.pmf(k, 12, 0.5))

    def scores(self, rng: np.random.Generator) -> Array:
        chance = np.full((self.people, self.people, 1), 0.5)
        chance[np.arange(self.people), np.arange(self.people)] = self.agreeing
        return rng.binomial(12, chance, (self.people, self.people, self.each)).astype(float)


def flat(score: Array) -> tuple[Array, Array, Array]:
    first = np.broadcast_to(np.arange(len(score))[:, None, None], score.shape)
    return score.ravel(), first.ravel(), first.transpose(1, 0, 2).ravel()


def covers(rng: np.random.Generator, *, pairs: Pairs | Counts) -> bool:
    found = estimated_linkability(*flat(pairs.scores(rng)))
    return bool(found.low <= pairs.truth <= found.high)


def covers_from_below(rng: np.random.Generator, *, pairs: Pairs | Counts) -> bool:
    return bool(estimated_linkability(*flat(pairs.scores(rng)), level=0.9).low <= pairs.truth)


def rejects(rng: np.random.Generator, *, pairs: Pairs | Counts) -> bool:
    return linkage_p_value(*flat(pairs.scores(rng)), rng=rng, repetitions=199).value <= 0.05


CHANNELS: dict[str, Pairs | Counts] = {
    "normal scores, shift 0, 8 people": Pairs(shift=0, people=8),
    "normal scores, shift 0, two fifths of the variance by session": Pairs(shift=0, shared=0.4),
    "normal scores, shift .5": Pairs(shift=0.5),
    "normal scores, shift 1, two fifths of the variance by session": Pairs(shift=1, shared=0.4),
    "normal scores, shift 2, 8 people": Pairs(shift=2, people=8),
    "normal scores, shift 4.5, 8 people": Pairs(shift=4.5, people=8),
    "agreements of 12 places, .5 and .5": Counts(agreeing=0.5),
    "agreements of 12 places, .7 and .5": Counts(agreeing=0.7),
}

CASES: list[Case] = [
    *[
        Case(
            name="estimated_linkability",
            channel=name,
            kind="coverage",
            nominal=0.95,
            run=partial(covers, pairs=pairs),
            remark="its upper end is fitted and judged on the same people",
        )
        for name, pairs in CHANNELS.items()
    ],
    *[
        Case(
            name="estimated_linkability: lower limit",
            channel=name,
            kind="coverage",
            nominal=0.95,
            run=partial(covers_from_below, pairs=pairs),
            remark="judged on other people than fitted on, D_sys is on average too low",
        )
        for name, pairs in CHANNELS.items()
    ],
    *[
        Case(
            name="linkage_p_value",
            channel=name,
            kind="size",
            nominal=0.05,
            run=partial(rejects, pairs=pairs),
            remark="equal sums count as unlinkable",
        )
        for name, pairs in CHANNELS.items()
        if pairs.truth == 0
    ],
]
