"""Learned channels on a Gaussian pair with known information.

A's bit is the sign of a standard normal; the adversary sees one of correlation rho. I(sign; Z) and what
hard decisions reach, 1 - h(arccos(rho) / pi), are integrals of the bivariate normal.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import log_softmax, ndtr
from scipy.stats import norm

from attacks.channels import assumed_table, learned_channel, log_score, normalised, part, regression
from harness.contracts import Array, Witness

SOFT = {0.5: 0.1252, 0.8: 0.3846, 0.9: 0.5500}
HARD = {0.5: 0.0817, 0.8: 0.2685, 0.9: 0.4065}
ROWS, M = 200, 40  # of 40 people


def entropy(p: float | Array) -> Array:
    p = np.clip(p, 1e-300, 1 - 1e-16)
    return -(p * np.log2(p) + (1 - p) * np.log2(1 - p))


def pair(rho: float, rows: int, seed: int, *, soft: bool = True) -> tuple[Witness, Witness]:
    rng = np.random.default_rng(seed)
    x = rng.normal(0, 1, (rows, M))
    z = rho * x + np.sqrt(1 - rho**2) * rng.normal(0, 1, x.shape)

    def signs(v: Array) -> Witness:
        return Witness(
            symbols=(v > 0).astype(np.uint8), alphabet=2, acquired=np.ones(rows, bool),
            features=v[..., None] if soft else None,
        )  # fmt: skip

    return signs(z), signs(x)


@pytest.mark.parametrize("rho", SOFT)
def test_the_published_figures_are_the_integrals(rho: float) -> None:
    slope = rho / np.sqrt(1 - rho**2)
    soft = 1 - quad(lambda z: norm.pdf(z) * entropy(ndtr(slope * z)), -9, 9)[0]
    assert soft == pytest.approx(SOFT[rho], abs=6e-5)
    assert 1 - entropy(np.arccos(rho) / np.pi) == pytest.approx(HARD[rho], abs=6e-5)


def gained(rho: float, *, soft: bool) -> tuple[float, float]:
    """Bits per symbol on people not learned from, and the standard error."""
    channel = learned_channel(
        *pair(rho, ROWS, 1, soft=soft), np.arange(ROWS) // 5, rng=np.random.default_rng(2)
    )
    seen, true = pair(rho, 1000, 3, soft=soft)
    told = np.take_along_axis(channel(seen), true.symbols[..., None].astype(int), axis=2)[..., 0]
    bits = 1 + told / np.log(2)
    return float(bits.mean()), float(bits.std() / np.sqrt(bits.size))


@pytest.mark.parametrize("rho", SOFT)
def test_soft_decisions_reach_the_information_and_beat_hard_ones(rho: float) -> None:
    """At most 4 standard errors above it, and below it by no more than those and what learning costs.

    At most 20 weights fitted on 8000 symbols cost half a nat per 8000 each (Wilks); the least doubt that
    is allowed for costs 1e-4 nat.
    """
    value, error = gained(rho, soft=True)
    learning = (20 / (2 * ROWS * M) + 1e-4) / np.log(2)
    assert SOFT[rho] - learning - 4 * error < value < SOFT[rho] + 4 * error
    hard, hard_error = gained(rho, soft=False)
    assert HARD[rho] - learning - 4 * hard_error < hard < HARD[rho] + 4 * hard_error
    assert value > hard + 4 * (error + hard_error)


def test_no_correlation_no_gain() -> None:
    value, error = gained(0.0, soft=True)
    assert value < 4 * error


def test_the_choice_is_made_on_other_people() -> None:
    """Four people, nothing to learn: the regression fits them best, and would cost more on anyone else."""
    costs = []
    for seed in range(30):
        seen, true = pair(0.0, 4, 100 + seed)
        chosen = learned_channel(seen, true, np.arange(4), rng=np.random.default_rng(seed))
        best_fit = regression(seen, true, np.random.default_rng(seed))
        assert best_fit is not None
        other, theirs = pair(0.0, 200, 200 + seed)
        costs.append([-1 - log_score(c(other), theirs.symbols) / np.log(2) for c in (chosen, best_fit)])
    more = np.diff(costs)[:, 0]
    assert more.mean() > 4 * more.std(ddof=1) / np.sqrt(30)


def test_a_channel_learned_on_shuffled_rows_knows_nothing() -> None:
    """Negative control for the test above."""
    seen, true = pair(0.9, ROWS, 1)
    mixed = part(true, np.random.default_rng(5).permutation(ROWS))
    channel = learned_channel(seen, mixed, np.arange(ROWS) // 5, rng=np.random.default_rng(2))
    other, theirs = pair(0.9, 300, 3)
    told = np.take_along_axis(channel(other), theirs.symbols[..., None].astype(int), axis=2)
    assert 1 + told.mean() / np.log(2) < 4 * told.std() / np.log(2) / np.sqrt(told.size)


def test_recurring_cells_are_followed() -> None:
    """A remainder's parity: no line separates it, and the residuals' look-up still finds it."""
    rng = np.random.default_rng(6)
    x = rng.uniform(0, 8, (100, M))
    z = x + rng.normal(0, 0.1, x.shape)
    made = [
        Witness(
            symbols=(np.floor(v) % 2).astype(np.uint8), alphabet=2, acquired=np.ones(100, bool),
            features=v[..., None],
        )
        for v in (z, x)
    ]  # fmt: skip
    half = np.arange(100) < 50
    channel = learned_channel(
        part(made[0], half), part(made[1], half), np.arange(50) // 5, rng=np.random.default_rng(0)
    )
    gain = 1 + log_score(channel(part(made[0], ~half)), made[1].symbols[~half]) / np.log(2)
    # what is lost: the bit is in doubt within .1 of a border only
    doubt = quad(lambda u: entropy(ndtr(u / 0.1)), -0.5, 0.5)[0]
    # 2000 symbols with a spread of at most 1 bit each
    assert abs(gain - (1 - doubt)) < 4 / np.sqrt(2000)


def test_answers_are_distributions() -> None:
    seen, true = pair(0.8, 40, 7)
    channel = learned_channel(seen, true, np.arange(40) // 4, rng=np.random.default_rng(0))
    told = channel(seen)
    assert told.shape == (40, M, 2)
    assert np.isfinite(told).all()
    assert np.exp(told).sum(axis=2) == pytest.approx(np.ones((40, M)))
    assumed = assumed_table(4)(Witness(symbols=np.array([[3]]), alphabet=4, acquired=np.ones(1, bool)))
    assert np.exp(assumed[0, 0]) == pytest.approx([0.1, 0.1, 0.1, 0.7])
    raw = np.random.default_rng(1).normal(0, 3, (2, 3, 4))
    assert normalised(raw) == pytest.approx(log_softmax(raw, axis=2))


def test_one_person_to_learn_from_and_one_symbol_seen() -> None:
    seen, true = pair(0.8, 6, 8)
    alone = learned_channel(seen, true, np.zeros(6, int), rng=np.random.default_rng(0))
    assert np.isfinite(alone(seen)).all()
    same = Witness(symbols=np.zeros((6, M), np.uint8), alphabet=2, acquired=np.ones(6, bool))
    constant = learned_channel(seen, same, np.arange(6), rng=np.random.default_rng(0))
    assert (constant(seen)[..., 0] > constant(seen)[..., 1]).all()


def test_the_same_stream_gives_the_same_channel() -> None:
    seen, true = pair(0.8, 60, 9)
    made = [learned_channel(seen, true, np.arange(60) // 6, rng=np.random.default_rng(4)) for _ in range(2)]
    assert np.array_equal(made[0](seen), made[1](seen))
