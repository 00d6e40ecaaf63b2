"""Information of discrete views against published values, identities and another library."""

from __future__ import annotations

import math

import dit
import mpmath
import numpy as np
import pytest
from scipy.stats import norm
from sklearn.metrics import mutual_info_score

from harness.estimators.leakage.channel import (
    channel_information,
    gaussian_shift_information,
    min_entropy_leakage,
    symmetric_information,
)
from harness.estimators.leakage.detection import detectable_information
from harness.estimators.leakage.discrete import plug_in_information

FAIR = np.array([0.5, 0.5])


def symmetric(error: float) -> np.ndarray:
    return np.array([[1 - error, error], [error, 1 - error]])


@pytest.mark.parametrize(
    ("error", "bits"), [(0.1, 0.531004406411), (0.11, 0.500084041835), (0.25, 0.188721875541)]
)
def test_capacity_of_a_binary_symmetric_channel(error: float, bits: float) -> None:
    """1 - h(error) (Cover and Thomas, Elements of Information Theory, chapter 7, from memory)."""
    assert channel_information(symmetric(error), FAIR) == pytest.approx(bits, abs=1e-12)
    assert symmetric_information(1 - error) == pytest.approx(bits, abs=1e-12)


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


@pytest.mark.parametrize("shift", [0.05, 0.5, 1.0, 2.0, 4.0, 8.0])
def test_a_gaussian_shift_agrees_with_mpmath(shift: float) -> None:
    """1 - E log2(1 + exp(-d x)) for x normal around d / 2, integrated to 20 digits."""
    with mpmath.workdps(20):

        def surprise(x: mpmath.mpf) -> mpmath.mpf:
            return mpmath.npdf(x, shift / 2) * mpmath.log(1 + mpmath.exp(-shift * x), 2)

        nodes = [shift / 2 + step for step in range(-14, 15, 2)]
        bits = 1 - mpmath.quad(surprise, nodes)
    assert gaussian_shift_information(shift) == pytest.approx(float(bits), abs=1e-7)


@pytest.mark.parametrize(
    ("rho", "bits"), [(0.5, 0.207518749639), (0.8, 0.736965594166), (0.9, 1.197964338166)]
)
def test_two_gaussians_cut_ever_finer_tell_what_the_identity_says(rho: float, bits: float) -> None:
    """-log2(1 - rho^2) / 2 (an identity), from below by cells of equal probability, and near it at 400."""
    told = []
    for cells in (2, 8, 400):
        x = norm.ppf((np.arange(400) + 0.5) / 400)
        edges = norm.ppf(np.arange(1, cells) / cells)
        upto = norm.cdf((edges - rho * x[:, None]) / math.sqrt(1 - rho**2))
        channel = np.diff(np.concatenate([np.zeros((400, 1)), upto, np.ones((400, 1))], axis=1), axis=1)
        told.append(channel_information(channel, np.full(400, 1 / 400)))
    assert told[0] < told[1] < told[2] < bits
    assert told[2] == pytest.approx(bits, abs=0.01)


@pytest.mark.parametrize(("words", "bits"), [(3, 0.568995593589), (256, 1.268430937275)])
def test_fano_bounds_what_a_symmetric_channel_leaves(words: int, bits: float) -> None:
    """h(P) + P log2(M - 1) at P .1, reached by M-ary symmetric errors (Fano 1961, from memory)."""
    channel = np.full((words, words), 0.1 / (words - 1))
    np.fill_diagonal(channel, 0.9)
    left = math.log2(words) - channel_information(channel, np.full(words, 1 / words))
    assert left == pytest.approx(bits, abs=1e-10)


def test_a_noiseless_ternary_symbol() -> None:
    assert channel_information(np.eye(3), np.ones(3) / 3) == pytest.approx(1.584962500721, abs=1e-12)
    assert min_entropy_leakage(np.eye(3), np.ones(3) / 3) == pytest.approx(math.log2(3))


def test_counts_agree_with_scikit_learn_before_the_correction() -> None:
    """Plug-in plus (cells - rows - columns + 1) / (2 n ln 2) is the raw figure."""
    rng = np.random.default_rng(2)
    for _ in range(10):
        counts = rng.integers(1, 30, (3, 4))
        raw = mutual_info_score(None, None, contingency=counts) / math.log(2)
        assert plug_in_information(counts) + 6 / (2 * counts.sum() * math.log(2)) == pytest.approx(raw)


def test_min_entropy_leakage_agrees_with_entropies_of_another_library() -> None:
    """Renyi's entropy of infinite order of the secret, less -log2 of the mean best guess."""
    rng = np.random.default_rng(6)
    for _ in range(10):
        prior, channel = rng.dirichlet(np.ones(3)), rng.dirichlet(np.ones(4), 3)
        secret = dit.Distribution(["0", "1", "2"], prior.tolist())
        before = float(dit.other.renyi_entropy(secret, math.inf))
        best = 0.0
        for view in range(4):
            joint = prior * channel[:, view]
            given = dit.Distribution(["0", "1", "2"], (joint / joint.sum()).tolist())
            best += joint.sum() * 2 ** -float(dit.other.renyi_entropy(given, math.inf))
        assert min_entropy_leakage(channel, prior) == pytest.approx(max(0, before + math.log2(best)))
