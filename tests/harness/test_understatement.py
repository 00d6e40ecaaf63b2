"""What few people take from a figure that seeks the likeliest of several values."""

from __future__ import annotations

import numpy as np
import pytest

from harness.contracts import Array
from harness.estimators import jackknife
from harness.estimators.entropy.given_helper import min_entropy_understated

PEOPLE = np.arange(40)


def test_what_falls_with_the_root_of_people_is_seen_whole() -> None:
    seen = jackknife.understatement(lambda rows: 5 - 2 / np.sqrt(len(rows)), PEOPLE)
    assert seen == pytest.approx(2 / np.sqrt(40), rel=0.03)


def test_a_mean_is_not_too_low_and_a_figure_that_falls_is_left_alone() -> None:
    values = np.random.default_rng(1).random(40)
    assert jackknife.understatement(lambda rows: float(values[rows].mean()), PEOPLE) == pytest.approx(
        0, abs=1e-12
    )
    assert jackknife.understatement(lambda rows: 5 + 2 / np.sqrt(len(rows)), PEOPLE) == 0


def test_of_one_person_nothing_is_known() -> None:
    assert jackknife.understatement(lambda rows: 1 / len(rows), np.zeros(5, int)) == 0


def understated(shares: Array, seed: int) -> float:
    """Four symbols of sixteen, one parity over all bits."""
    symbols = np.random.default_rng(seed).choice(16, size=(60, 4), p=shares).astype(np.uint8)
    return min_entropy_understated(
        symbols,
        np.repeat(np.arange(20), 3),
        labels=np.array([[i >> b & 1 for b in (3, 2, 1, 0)] for i in range(16)], np.uint8),
        parity=np.ones((1, 16), np.uint8),
        positions=np.arange(16)[None],
        limit=15.0,
    )


def test_even_symbols_lose_much_to_chance_and_uneven_ones_little() -> None:
    even = [understated(np.full(16, 1 / 16), seed) for seed in range(20)]
    uneven = np.full(16, 0.5 / 15)
    uneven[2] = 0.5
    assert min(even) >= 0
    assert np.mean(even) > 5 * np.mean([understated(uneven, seed) for seed in range(20)])
