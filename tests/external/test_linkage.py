"""D_sys against its definition, integrated by mpmath.

Gomez-Barrero, Galbally, Rathgeb and Busch, IEEE Trans. Inf. Forensics Secur. 13 (2018): D(s) is 2 ω LR /
(1 + ω LR) - 1 where ω LR exceeds 1, else 0; D_sys is its mean over mated scores; 0 for equal
distributions, 1 for disjoint ones.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from scipy.stats import norm

from harness.estimators.linkage import estimated_linkability, local_linkability, system_linkability


def by_definition(shift: float, ratio: float) -> float:
    """Two normal densities a shift apart, of spread 1."""
    with mpmath.workdps(20):
        w, d = mpmath.mpf(ratio), mpmath.mpf(shift)
        start = d / 2 - mpmath.log(w) / d  # where ω LR is 1

        def part(s: mpmath.mpf) -> mpmath.mpf:
            odds = w * mpmath.exp(d * s - d * d / 2)
            return mpmath.npdf(s, d) * (2 * odds / (1 + odds) - 1)

        return float(mpmath.quad(part, [start, start + 3, start + 15]))


@pytest.mark.parametrize("shift", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("ratio", [1.0, 0.5])
def test_normal_scores(shift: float, ratio: float) -> None:
    """Cut into 40 000 cells, whose probabilities the normal distribution gives."""
    edges = np.linspace(-10, 10 + shift, 40_001)
    mated, others = (np.diff(norm.cdf(edges, loc=at)) for at in (shift, 0))
    mated, others = mated / mated.sum(), others / others.sum()
    found = system_linkability(mated, others, prior_ratio=ratio)
    assert found == pytest.approx(by_definition(shift, ratio), abs=1e-7)


def test_equal_and_disjoint_scores() -> None:
    same = np.array([0.2, 0.3, 0.5])
    assert system_linkability(same, same) == 0
    assert system_linkability(np.array([0, 0.4, 0.6]), np.array([1.0, 0, 0])) == 1


def test_local_measure() -> None:
    """A ratio of 4 means 4/5 mated against 1/5; with half as many mated pairs, 2/3 against 1/3."""
    assert local_linkability(np.array([4.0]))[0] == pytest.approx(3 / 5)
    assert local_linkability(np.array([4.0]), prior_ratio=0.5)[0] == pytest.approx(1 / 3)


@pytest.mark.parametrize("shift", [1.0, 2.0])
def test_estimate_of_normal_scores(shift: float) -> None:
    """200 people: four standard errors as the interval states them, and half a hundredth for fitting."""
    people = 200
    score = np.random.default_rng(5).standard_normal((people, people))
    score[np.diag_indices(people)] += shift
    first = np.repeat(np.arange(people), people)
    found = estimated_linkability(score.ravel(), first, np.tile(np.arange(people), people))
    sigma = (found.value - found.low) / norm.ppf(0.975)
    assert abs(found.value - by_definition(shift, 1.0)) < 4 * sigma + 0.005
