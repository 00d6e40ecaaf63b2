"""All fifteen tests, and what many sequences say together. Randomness is not secrecy.

A key that hashes a counter passes every test, and anybody can compute it. Failing shows that keys are
guessable; passing shows nothing of what an adversary knows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from scipy.special import gammaincc
from scipy.stats import binom

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.randomness import counts, excursions, patterns, structure

__all__ = ["TESTS", "Assessment", "assess", "p_values"]

TESTS: Mapping[str, Callable[[Array], Array]] = MappingProxyType(
    {
        "frequency": counts.frequency,
        "block-frequency": counts.block_frequency,
        "runs": counts.runs,
        "longest-run": counts.longest_run,
        "matrix-rank": structure.matrix_rank,
        "spectral": structure.spectral,
        "non-overlapping-templates": patterns.non_overlapping_templates,
        "overlapping-template": patterns.overlapping_template,
        "universal": structure.universal,
        "linear-complexity": structure.linear_complexity,
        "serial": patterns.serial,
        "approximate-entropy": patterns.approximate_entropy,
        "cumulative-sums": counts.cumulative_sums,
        "random-excursions": excursions.excursions,
        "random-excursions-variant": excursions.excursions_variant,
    }
)
"""By name, in the order of the standard."""

FOR_UNIFORMITY = 55
"""Sequences below which the standard does not judge uniformity."""


def p_values(bits: Array) -> tuple[dict[str, Array], dict[str, str]]:
    """p-values of every test that the sequences are long enough for, and why others were left out.

    Parameters
    ----------
    bits : (sequences, n) uint8
    """
    found: dict[str, Array] = {}
    skipped: dict[str, str] = {}
    for name, test in TESTS.items():
        try:
            p = test(bits)
        except InsufficientData as error:
            skipped[name] = str(error)
            continue
        if np.isnan(p).all():
            skipped[name] = "the walk returns to zero fewer than 500 times"
        else:
            found[name] = p
    return found, skipped


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """What the p-values of one outcome say over sequences.

    Attributes
    ----------
    passing : float
        Share of sequences that pass.
    region : tuple of float
        Where the standard wants it: 1 - alpha, give or take three standard errors.
    exact : tuple of float
        The exact binomial region at the same level (.27 % outside).
    uniformity : float or None
        p-value of uniformity over ten classes; None: fewer than 55 sequences.
    """

    passing: float
    region: tuple[float, float]
    exact: tuple[float, float]
    uniformity: float | None


def assess(p: Array, *, alpha: float = 0.01) -> Assessment:
    """The standard's assessment over sequences (§4.2.1, 4.2.2).

    Its region of the passing share is a normal approximation that asks for some 1 / alpha sequences and
    more; the exact region holds for any number. Uniformity needs 55 sequences, and is refused at a p-value
    below .0001.

    Parameters
    ----------
    p : (sequences,) float
        NaN: the test did not apply to that sequence.
    alpha : float

    Raises
    ------
    ValueError
        If a p-value lies outside 0 to 1, or `alpha` is not strictly between.
    InsufficientData
        If it applied to none.
    """
    p = np.asarray(p, float)
    if p.ndim != 1 or ((p < 0) | (p > 1)).any():
        raise ValueError("`p` must be p-values from 0 to 1, one a sequence, of one outcome")
    if not 0 < alpha < 1:
        raise ValueError(f"`alpha` must lie strictly between 0 and 1, got {alpha}")
    known = p[~np.isnan(p)]
    n = len(known)
    if n == 0:
        raise InsufficientData("an assessment needs at least one sequence, got none")
    reach = 3 * np.sqrt(alpha * (1 - alpha) / n)
    outside = 0.0027 / 2
    exact = binom.ppf([outside, 1 - outside], n, 1 - alpha) / n
    uniformity = None
    if n >= FOR_UNIFORMITY:
        seen = np.histogram(known, bins=10, range=(0, 1))[0]
        uniformity = float(gammaincc(4.5, ((seen - n / 10) ** 2 / (n / 10)).sum() / 2))
    return Assessment(
        passing=float((known >= alpha).mean()),
        region=(1 - alpha - reach, min(1.0, 1 - alpha + reach)),
        exact=(float(exact[0]), float(exact[1])),
        uniformity=uniformity,
    )
