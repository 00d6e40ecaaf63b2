"""How small a leak would have been seen: leaks of known size, planted in the view that was tested.

No distribution-free upper limit of the information of a real-valued view exists. What can be said is which
leaks of a named family the test at hand would have found.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import expit

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.leakage.learned import checked, held_out_gain
from harness.estimators.leakage.learners import linear
from harness.estimators.proportion import clopper_pearson

__all__ = ["planted_detection_limit"]

REFERENCES = 1000
_HALVINGS = 12
_STRONGEST = 64.0


def planted_detection_limit(
    view: Array,
    subject: Array,
    *,
    rng: np.random.Generator,
    power: float = 0.8,
    level: float = 0.05,
    references: int = REFERENCES,
) -> Estimate:
    """The least information about one fair bit that a learned test of this view sees, with this power.

    Planted: a bit whose log-odds are proportional to the position of the view along a random direction, as
    a bit that shifts the mean of a Gaussian view makes them. Seen: the held-out gain of a logistic model,
    mean over people, above all but `level` of references whose bit has nothing to do with the view.

    Parameters
    ----------
    view : (attempts, features) float
        Of the view that was tested, attempts and people as they are.
    subject : (attempts,) int
    rng : numpy.random.Generator
    power, level : float
        Chances of seeing a planted leak, and of seeing one where there is none.
    references : int
        Bits drawn for the null, and for every size of leak that is tried; at least 100.

    Returns
    -------
    Estimate
        Unit "bit", side "attacker-at-most": a leak of this family that tells more is seen more often than
        `power` says. The interval is that of the size at which the measured power lies within its binomial
        95 % interval.

    Raises
    ------
    InsufficientData
        If there are fewer than two people, or even a bit that the view gives away is not seen.
    ValueError
        If the view is not finite, or numbers are out of range.
    """
    if not 0 < level < power < 1:
        raise ValueError(f"`level` and `power` must satisfy 0 < level < power < 1, got {level} and {power}")
    if references < 100:
        raise ValueError(f"`references` must be at least 100, got {references}")
    x, _ = checked(view, np.zeros((len(view), 1), int), subject)
    place = _places(x, references, rng)
    coins = rng.random(place.shape)  # the same for every size, so that power grows smoothly with it
    people = np.unique(subject, return_inverse=True)[1].ravel()

    def statistic(chance: Array) -> Array:
        gain = held_out_gain(x, (coins < chance).astype(int), subject, learners=(linear,))
        sums = np.stack([np.bincount(people, g) for g in gain.T])
        return np.asarray((sums / np.bincount(people)).mean(axis=1))

    needed = float(np.quantile(statistic(np.full(place.shape, 0.5)), 1 - level, method="higher"))
    tried: list[tuple[float, float]] = []  # size of the leak in bits, share seen

    def seen(slope: float) -> float:
        chance = expit(slope * place)
        share = float((statistic(chance) > needed).mean())
        tried.append((_information(chance), share))
        return share

    low, high = 0.0, 0.25
    while seen(high) < power:
        low, high = high, 2 * high
        if high > _STRONGEST:
            raise InsufficientData(
                f"{len(x)} attempts of {len(np.unique(subject))} people do not show even a bit that the "
                f"view gives away; most seen {max(s for _, s in tried):.2f} of the time"
            )
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if seen(middle) >= power else (middle, high)
        if high - low < 0.02 * high:
            break
    tried.sort()
    inside = [b for b, s in tried if _plausible(s, references, power)]
    value = min(b for b, s in tried if s >= power)
    return Estimate(
        value=value,
        low=min(inside, default=value),
        high=max([*inside, value]),
        level=0.95,
        unit="bit",
        side="attacker-at-most",
        evidence="modelled",
        subjects=len(np.unique(subject)),
        attempts=len(x),
        method="planted-gaussian-shift",
    )


def _places(x: Array, references: int, rng: np.random.Generator) -> Array:
    """(attempts, references) unit-variance positions along random directions."""
    spread = x.std(axis=0)
    if not (spread > 0).any():
        raise InsufficientData("a view that never changes can hold no leak: its features are constant")
    z = (x - x.mean(axis=0)) / np.where(spread > 0, spread, 1.0)
    place = z @ rng.standard_normal((z.shape[1], references))
    return np.asarray((place - place.mean(axis=0)) / place.std(axis=0))


def _information(chance: Array) -> float:
    """Bits that the positions tell of the planted bits: what a fair coin holds less what is left."""
    p = np.clip(chance, 1e-12, 1 - 1e-12)
    left = -(p * np.log(p) + (1 - p) * np.log1p(-p)) / math.log(2)
    marginal = np.clip(p.mean(axis=0), 1e-12, 1 - 1e-12)
    whole = -(marginal * np.log(marginal) + (1 - marginal) * np.log1p(-marginal)) / math.log(2)
    return float((whole - left.mean(axis=0)).mean())


def _plausible(share: float, references: int, power: float) -> bool:
    low, high = clopper_pearson(share * references, float(references), level=0.95)
    return bool(low <= power <= high)
