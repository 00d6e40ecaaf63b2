"""Limits of what a view tells, tests whether it tells anything, and the power at detection limits."""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from scipy.optimize import brentq
from scipy.stats import binom

from calibration.case import Case
from harness.contracts import Array
from harness.estimators.leakage.channel import (
    channel_information,
    gaussian_shift_information,
    min_entropy_leakage,
    symmetric_information,
)
from harness.estimators.leakage.detection import detectable_information
from harness.estimators.leakage.discrete import (
    information_limit,
    joint_counts,
    min_entropy_leakage_limits,
    symmetric_information_limit,
)
from harness.estimators.leakage.learned import held_out_gain, learned_information
from harness.estimators.leakage.learners import linear
from harness.estimators.leakage.planted import planted_detection_limit
from harness.estimators.leakage.within_subject import min_p_value, score_p_value
from harness.streams import stream


def drawn(rng: np.random.Generator, channel: Array, trials: int) -> Array:
    """Counts of a uniform secret and its view."""
    secrets, views = channel.shape
    secret = rng.integers(0, secrets, trials)
    view = (rng.random(trials)[:, None] > channel.cumsum(axis=1)[secret, :-1]).sum(axis=1)
    return joint_counts(secret, view, secrets=secrets, views=views)


def most(rng: np.random.Generator, *, channel: tuple[tuple[float, ...], ...], trials: int) -> bool:
    rows = np.array(channel)
    truth = channel_information(rows, np.full(len(rows), 1 / len(rows)))
    return information_limit(drawn(rng, rows, trials)).high >= truth


def guess(rng: np.random.Generator, *, channel: tuple[tuple[float, ...], ...], trials: int) -> bool:
    rows = np.array(channel)
    truth = min_entropy_leakage(rows, np.full(len(rows), 1 / len(rows)))
    found = min_entropy_leakage_limits(drawn(rng, rows, trials))
    return found.low <= truth <= found.high


def symmetric(rng: np.random.Generator, *, error: float, trials: int) -> bool:
    counts = drawn(rng, np.array([[1 - error, error], [error, 1 - error]]), trials)
    found = symmetric_information_limit(counts, claim="by construction")
    return found.high >= symmetric_information(error)


def seen(rng: np.random.Generator, *, trials: int, power: float) -> bool:
    """A symmetric leak of the size that is said to be detectable, under the test that is meant."""
    bits = detectable_information(trials, power=power)
    share = brentq(lambda p: symmetric_information(p) - bits, 0.5, 1 - 1e-9)
    return bool(binom.sf(rng.binomial(trials, share) - 1, trials, 0.5) <= 0.05)


def rejects(rng: np.random.Generator, *, bias: float, positions: int) -> bool:
    """People whose bits are biased, an adversary who knows the bias: identity, no leakage."""
    subject = np.repeat(np.arange(10), 6)
    habit = np.clip(0.5 + bias * rng.standard_normal((10, positions)), 0.02, 0.98)[subject]
    true, told = (rng.random((2, 60, positions)) < habit).astype(int)
    return min_p_value(told, true, subject, rng=rng, repetitions=99).value <= 0.05


def scored(rng: np.random.Generator, *, bias: float, positions: int) -> bool:
    """The same people, and scores that know the bias."""
    subject = np.repeat(np.arange(10), 6)
    habit = np.clip(0.5 + bias * rng.standard_normal((10, positions)), 0.02, 0.98)[subject]
    true = (rng.random((60, positions)) < habit).astype(int)
    told = habit + 0.3 * rng.standard_normal(habit.shape)
    return score_p_value(told, true, subject, rng=rng, repetitions=99).value <= 0.05


def learned(rng: np.random.Generator, *, shift: float, spread: float) -> bool:
    """A bit shifts the mean of a reading, in some people more: the least of what it tells is bounded."""
    subject = np.repeat(np.arange(20), 15)
    own = np.maximum(shift + spread * rng.standard_normal(20), 0.0)
    truth = _mean_information(shift, spread)
    secret = rng.integers(0, 2, (300, 1))
    view = own[subject][:, None] * (secret - 0.5) + rng.standard_normal((300, 1))
    return learned_information(view, secret, subject, learners=(linear,)).low <= truth


@cache
def _mean_information(shift: float, spread: float) -> float:
    own = np.maximum(shift + spread * np.random.default_rng(0).standard_normal(4000 if spread else 1), 0.0)
    return float(np.mean([gaussian_shift_information(d) for d in own]))


@cache
def _planted_limit() -> tuple[float, float]:
    """The limit for 20 people of 10 readings, and what the test needs there."""
    rng = stream(0, "calibration", "planted")
    subject = np.repeat(np.arange(20), 10)
    found = planted_detection_limit(rng.standard_normal((200, 2)), subject, rng=rng)
    shift = brentq(lambda d: gaussian_shift_information(d) - found.value, 0, 8)
    nothing = [_gain(rng, 0.0) for _ in range(1000)]
    return float(shift), float(np.quantile(nothing, 0.95))


def _gain(rng: np.random.Generator, shift: float) -> float:
    subject = np.repeat(np.arange(20), 10)
    secret = rng.integers(0, 2, (200, 1))
    view = rng.standard_normal((200, 2))
    view[:, :1] += shift * (secret - 0.5)
    return float(held_out_gain(view, secret, subject, learners=(linear,)).mean())


def planted(rng: np.random.Generator) -> bool:
    shift, needed = _planted_limit()
    return _gain(rng, shift) > needed


CHANNELS = {
    "symmetric, error .1": ((0.9, 0.1), (0.1, 0.9)),
    "symmetric, error .4": ((0.6, 0.4), (0.4, 0.6)),
    "Z, error .3": ((1.0, 0.0), (0.3, 0.7)),
    "near-zero rates .01 and .03": ((0.99, 0.01), (0.97, 0.03)),
    "nothing leaks": ((0.5, 0.5), (0.5, 0.5)),
    "a bit seen in four levels": ((0.5, 0.3, 0.15, 0.05), (0.05, 0.15, 0.3, 0.5)),
    "four symbols, error .3": tuple(tuple(0.7 if i == j else 0.1 for j in range(4)) for i in range(4)),
}

CASES = [
    *(
        Case(
            name=name,
            channel=f"{channel}, {trials} attempts",
            kind="coverage",
            nominal=0.95,
            run=partial(run, channel=rows, trials=trials),
            remark="exact intervals of every cell, the worst channel between them",
        )
        for name, run in (("information_limit", most), ("min_entropy_leakage_limits", guess))
        for channel, rows in CHANNELS.items()
        for trials in (60, 600)
    ),
    *(
        Case(
            name="symmetric_information_limit",
            channel=f"symmetric, error {error:g}, {trials} attempts",
            kind="coverage",
            nominal=0.95,
            run=partial(symmetric, error=error, trials=trials),
            remark="only with a claim of symmetry; exact, so conservative near a half",
        )
        for error in (0.02, 0.1, 0.4, 0.5)
        for trials in (60, 600)
    ),
    *(
        Case(
            name="detectable_information",
            channel=f"symmetric leak of that size, {trials} attempts",
            kind="coverage",
            nominal=power,
            run=partial(seen, trials=trials, power=power),
            remark="the power at the detection limit",
        )
        for trials, power in ((50, 0.8), (300, 0.95), (1000, 0.8))
    ),
    *(
        Case(
            name="min_p_value",
            channel=f"{positions} bits of ten people, biased by {bias:g}, the bias known",
            kind="size",
            nominal=0.05,
            run=partial(rejects, bias=bias, positions=positions),
        )
        for bias in (0.0, 0.1, 0.3)
        for positions in (1, 16)
    ),
    *(
        Case(
            name="score_p_value",
            channel=f"{positions} bits of ten people, biased by {bias:g}, scores that know it",
            kind="size",
            nominal=0.05,
            run=partial(scored, bias=bias, positions=positions),
        )
        for bias in (0.0, 0.3)
        for positions in (1, 16)
    ),
    *(
        Case(
            name="learned_information",
            channel=f"20 people of 15, means apart by {shift:g}, between people by {spread:g}",
            kind="coverage",
            nominal=0.95,
            run=partial(learned, shift=shift, spread=spread),
            remark="a model learned of few people gains less than there is",
        )
        for shift, spread in ((0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (1.0, 0.5), (2.0, 1.0))
    ),
    Case(
        name="planted_detection_limit",
        channel="20 people of 10, a bit that shifts the mean of a reading by the limit",
        kind="coverage",
        nominal=0.8,
        run=planted,
        remark="the power at the detection limit",
    ),
]
