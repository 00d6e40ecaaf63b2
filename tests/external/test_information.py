"""Information of discrete views against published values, identities and another library."""

from __future__ import annotations

import dit
import numpy as np
import pytest

from harness.estimators.discrete_leakage import (
    channel_information,
    detectable_information,
    min_entropy_leakage,
)

FAIR = np.array([0.5, 0.5])


def symmetric(error: float) -> np.ndarray:
    return np.array([[1 - error, error], [error, 1 - error]])


@pytest.mark.parametrize(
    ("error", "bits"), [(0.1, 0.531004406411), (0.11, 0.500084041835), (0.25, 0.188721875541)]
)
def test_capacity_of_a_binary_symmetric_channel(error: float, bits: float) -> None:
    """1 - h(error) (Cover and Thomas, Elements of Information Theory, chapter 7, from memory)."""
    assert channel_information(symmetric(error), FAIR) == pytest.approx(bits, abs=1e-12)


def test_sign_of_two_gaussians() -> None:
    """Signs agree with probability 1 - acos(correlation) / pi (orthant probability, an identity)."""
    for rho, bits in ((0.5, 0.081704165946), (0.9, 0.406497053035)):
        error = np.arccos(rho) / np.pi
        assert channel_information(symmetric(error), FAIR) == pytest.approx(bits, abs=1e-11)


def test_min_entropy_leaks_more_than_shannon_shows() -> None:
    """Eight bits through errors of a tenth: 6.78 bits of min-entropy, 4.25 of Shannon's (identities)."""
    assert 8 * min_entropy_leakage(symmetric(0.1), FAIR) == pytest.approx(8 * np.log2(1.8))
    assert 8 * channel_information(symmetric(0.1), FAIR) == pytest.approx(4.248, abs=5e-4)


def test_information_agrees_with_dit() -> None:
    rng = np.random.default_rng(5)
    for _ in range(20):
        prior = rng.dirichlet(np.ones(3))
        channel = rng.dirichlet(np.ones(4), 3)
        names = [f"{k}{v}" for k in range(3) for v in range(4)]
        known = dit.Distribution(names, (prior[:, None] * channel).ravel().tolist())
        assert channel_information(channel, prior) == pytest.approx(
            float(dit.shannon.mutual_information(known, [0], [1])), abs=1e-9
        )


@pytest.mark.parametrize(
    ("trials", "usual", "nearly"),
    [(50, 0.101, 0.166), (300, 0.015, 0.026), (1000, 0.0046, 0.0080), (5000, 0.0009, 0.0016)],
)
def test_detectable_leaks_are_as_simulated(trials: int, usual: float, nearly: float) -> None:
    """Simulated beforehand at 80 and 95 % power to about two digits; computed exactly here."""
    assert detectable_information(trials, power=0.8) == pytest.approx(usual, rel=0.06)
    assert detectable_information(trials, power=0.95) == pytest.approx(nearly, rel=0.06)
