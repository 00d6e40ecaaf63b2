"""Lag search finds a planted delay, and nothing where there is none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from sklearn.metrics import mutual_info_score

from attacks.lags import best_lag, candidate_lags, symbol_information
from attacks.quantising import shifted
from harness.contracts import Array, Capture, Witness

RATE = 100.0


@dataclass(frozen=True)
class Levels:
    """Signs of means over a quarter of a second."""

    def witness(self, capture: Capture) -> Witness:
        x = capture.samples[:, 0]
        means = x.reshape(len(x), -1, 25).mean(axis=2)
        return Witness(
            symbols=(means > 0).astype(np.uint8), alphabet=2, acquired=np.ones(len(x), bool),
            features=means[..., None],
        )  # fmt: skip


@dataclass(frozen=True)
class LongIntervals:
    """An event series: is each interval longer than a second?"""

    def witness(self, capture: Capture) -> Witness:
        x = capture.samples[:, 0]
        return Witness(symbols=(x > 1).astype(np.uint8), alphabet=2, acquired=np.ones(len(x), bool))


def capture(samples: Array, rate: float | None = RATE) -> Capture:
    return Capture(samples=samples[:, None], rate_hz=rate, signal="force", unit="N")


def drift(rng: np.random.Generator, rows: int, length: int) -> Array:
    """Noise smoothed over .2 s, so that a late capture still tells a little."""
    white = rng.normal(0, 1, (rows, length + 20))
    return np.stack([np.convolve(w, np.ones(20) / 20, "valid")[:length] for w in white])


@pytest.mark.parametrize("lag_s", [-0.2, -0.05, 0.0, 0.15, 0.3, 0.5])
def test_a_planted_delay_is_found(lag_s: float) -> None:
    rng = np.random.default_rng(1)
    lag = round(lag_s * RATE)
    whole = drift(rng, 48, 1100)
    own, seen = whole[:, 50:1050], whole[:, 50 - lag : 1050 - lag]
    noisy = seen + rng.normal(0, 0.05, seen.shape)
    assert best_lag(Levels(), capture(noisy), Levels().witness(capture(own))) == lag


def test_a_missed_beat_is_found() -> None:
    rng = np.random.default_rng(2)
    whole = 1 + rng.normal(0, 0.1, (30, 64))
    own, late = capture(whole[:, 2:62], None), capture(whole[:, 1:61], None)
    assert best_lag(LongIntervals(), late, LongIntervals().witness(own)) == 1


def test_a_rival_without_delay_search_learns_nothing_here() -> None:
    """Negative control: at lag 0 the same captures say next to nothing."""
    rng = np.random.default_rng(1)
    whole = drift(rng, 48, 1100)
    own, seen = capture(whole[:, 50:1050]), capture(whole[:, 20:1020])
    true = Levels().witness(own).symbols
    said = [symbol_information(Levels().witness(shifted(seen, lag)).symbols, true, 2) for lag in (0, 30)]
    assert said[0] < 0.1
    assert said[1] > 0.5


def test_candidates_start_with_none_and_reach_half_a_second() -> None:
    lags = candidate_lags(capture(np.zeros((1, 10))))
    assert lags[0] == 0
    assert (min(lags), max(lags)) == (-20, 50)
    assert set(candidate_lags(capture(np.zeros((1, 10)), None))) == {-2, -1, 0, 1, 2}


def test_shifting_repeats_the_edge() -> None:
    x = capture(np.arange(5.0)[None])
    assert shifted(x, 2).samples[0, 0].tolist() == [2, 3, 4, 4, 4]
    assert shifted(x, -2).samples[0, 0].tolist() == [0, 0, 0, 1, 2]
    assert shifted(x, 0) is x


def test_information_of_symbols() -> None:
    """The plug-in part against scikit-learn; its bias of (r - 1)(c - 1) / (2 n ln 2) bits is taken off."""
    rng = np.random.default_rng(3)
    a = rng.integers(0, 3, 2000)
    b = np.where(rng.random(2000) < 0.6, a, rng.integers(0, 3, 2000))
    plain = mutual_info_score(a, b) / np.log(2)
    assert symbol_information(a, b, 3) == pytest.approx(plain - 4 / (4000 * np.log(2)))


def test_information_is_unbiased_where_there_is_none() -> None:
    """Mean of 400 tables within 4 standard errors of 0; without the correction it lies far outside."""
    rng = np.random.default_rng(4)
    found = np.array([symbol_information(*rng.integers(0, 4, (2, 500)), alphabet=4) for _ in range(400)])
    error = found.std() / 20
    assert abs(found.mean()) < 4 * error
    assert abs(found.mean() + 9 / (1000 * np.log(2))) > 4 * error
