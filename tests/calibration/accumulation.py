"""Intervals of joint strength and of tries, on people whose strengths and agreements are known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.stats import beta

from calibration.case import Case
from harness.contracts import Array
from harness.estimators.accumulation import estimated_joint_strength, joint_strength
from harness.estimators.retries import agreement_within, mean_tries

__all__ = ["CASES"]


def strength_covered(
    rng: np.random.Generator,
    *,
    bits: tuple[float, ...],
    weight: tuple[float, ...],
    people: int,
    attempts: int,
) -> bool:
    truth = joint_strength(np.array(bits), np.array(weight), attempts=attempts)
    drawn = rng.choice(np.array(bits), people, p=np.array(weight))
    found = estimated_joint_strength(drawn, attempts=attempts)
    return bool(found.low <= truth <= found.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreements:
    """People whose chance of agreement follows a beta distribution."""

    mean: float
    icc: float
    people: int
    attempts: int = 6

    @property
    def shape(self) -> tuple[float, float]:
        size = 1 / self.icc - 1
        return self.mean * size, (1 - self.mean) * size

    def draw(self, rng: np.random.Generator) -> tuple[Array, Array]:
        subject = np.repeat(np.arange(self.people), self.attempts)
        chance = rng.beta(*self.shape, self.people) if self.icc > 0 else np.full(self.people, self.mean)
        return rng.random(len(subject)) < chance[subject], subject

    def none_in(self, tries: int) -> float:
        """Chance that none of so many tries agrees."""
        if self.icc == 0:
            return (1 - self.mean) ** tries
        a, b = self.shape
        j = np.arange(tries)
        return float(np.prod((b + j) / (a + b + j)))


def agreement_covered(rng: np.random.Generator, *, people: Agreements, tries: int) -> bool:
    found = agreement_within(*people.draw(rng), tries=tries)
    return bool(found.low <= 1 - people.none_in(tries) <= found.high)


def tries_covered(rng: np.random.Generator, *, people: Agreements, tries: int) -> bool:
    found = mean_tries(*people.draw(rng), tries=tries)
    return bool(found.low <= sum(people.none_in(j) for j in range(tries)) <= found.high)


GAMMA = tuple(np.round(beta(2, 3).ppf((np.arange(200) + 0.5) / 200) * 40, 3).tolist())
"""Strengths of people who differ widely: 0 to 40 bits."""

STRENGTHS = {
    "strengths 20 and 5 bits, one in ten weak, 12 people": ((20.0, 5.0), (0.9, 0.1), 12),
    "strengths 20 and 5 bits, one in fifty weak, 30 people": ((20.0, 5.0), (0.98, 0.02), 30),
    "strengths beta from 0 to 40 bits, 20 people": (GAMMA, (1 / 200,) * 200, 20),
    "strengths beta from 0 to 40 bits, 60 people": (GAMMA, (1 / 200,) * 200, 60),
}

PEOPLE = {
    f"agreement {mean:g}, ICC {icc:g}, {people} people of 6 attempts": Agreements(
        mean=mean, icc=icc, people=people
    )
    for mean, icc, people in (
        (0.5, 0.0, 12),
        (0.5, 0.2, 12),
        (0.7, 0.5, 30),
        (0.9, 0.2, 12),
        (0.98, 0.05, 12),
        (0.1, 0.2, 20),
    )
}

CASES: list[Case] = [
    *[
        Case(
            name="estimated_joint_strength",
            channel=f"{channel}, {attempts} attempts",
            kind="coverage",
            nominal=0.95,
            run=partial(strength_covered, bits=bits, weight=weight, people=people, attempts=attempts),
            remark="holds for every distribution: people weaker than all seen may have no strength",
        )
        for channel, (bits, weight, people) in STRENGTHS.items()
        for attempts in (1, 4)
    ],
    *[
        Case(
            name=name,
            channel=f"{channel}, {tries} tries",
            kind="coverage",
            nominal=0.95,
            run=partial(run, people=people, tries=tries),
            remark="one more person at the further bound counts for the spread",
        )
        for name, run, tries in (
            ("agreement_within", agreement_covered, 2),
            ("agreement_within", agreement_covered, 4),
            ("mean_tries", tries_covered, 4),
        )
        for channel, people in PEOPLE.items()
    ],
]
