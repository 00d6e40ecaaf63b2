"""Quantisers against answers known by hand or by probability."""

from __future__ import annotations

from math import lgamma, log

import numpy as np
import pytest
from scipy.stats import binom, norm

from harness.contracts import Array
from schemes.quantisers import DifferenceSigns, EvenSteps, LevelCrossings, LevelSymbols, ProjectionSigns
from schemes.quantisers.series import Series, magnitude, standardised
from tests.schemes.bodies import emg, intervals, muscle, walking


def heartbeats(values: list[float]) -> Array:
    return np.array([[values]])


def normal_intervals(rng: np.random.Generator, attempts: int, count: int) -> Array:
    return rng.normal(1.0, 0.05, (attempts, 1, count))


def test_a_series_of_muscle_windows_is_the_log_of_their_mean_square() -> None:
    amplitude = np.array([20.0, 80.0, 40.0, 10.0])  # a sine of that height has half its square
    wave = np.sin(2 * np.pi * 100 * np.arange(800) / 1000) * amplitude.repeat(200)
    numbers, acquired = Series().numbers(emg(wave[None, None], rate_hz=1000.0), 4)
    assert acquired.tolist() == [True]
    # 0.06: what the filter carries over from one window to the next
    assert np.abs(numbers[0] - np.log(amplitude**2 / 2)).max() < 0.06


def test_the_least_activity_is_in_the_capture_s_unit() -> None:
    quiet = emg(5.0 * np.sin(2 * np.pi * 100 * np.arange(800) / 1000)[None, None], rate_hz=1000.0)
    assert not Series().numbers(quiet, 4)[1].any()
    assert Series(activity=3.0).numbers(quiet, 4)[1].all()
    walk = walking(np.random.default_rng(0), 2, 10.0)
    assert Series(window_s=1.0).numbers(walk, 8)[1].all()
    assert not Series(window_s=1.0, activity=0.5).numbers(walk, 8)[1].any()


def test_acceleration_does_not_depend_on_how_the_sensor_is_turned() -> None:
    samples = walking(np.random.default_rng(1), 2, 5.0).samples
    turn, _ = np.linalg.qr(np.random.default_rng(2).standard_normal((3, 3)))
    assert np.allclose(magnitude(np.einsum("ij,ajt->ait", turn, samples)), magnitude(samples))
    assert np.array_equal(magnitude(samples[:, :1]), samples[:, :1])


def test_standardised_by_hand() -> None:
    rows = np.array([[1.0, 2.0, 3.0, 4.0, 9.0], [7.0, 7.0, 7.0, 7.0, 8.0]])
    assert np.allclose(standardised(rows)[0] / 0.6744897501960817, [-2, -1, 0, 1, 6])
    assert not standardised(rows)[1].any()


def test_gaussian_cells_by_hand() -> None:
    quantiser = LevelSymbols(cells="gaussian", mean=1.0, deviation=0.1, levels=4)
    # quartiles of N(1, .1²): .9326, 1, 1.0674
    found = quantiser.quantise(intervals(heartbeats([0.90, 0.94, 0.999, 1.001, 1.06, 1.07])), 6)
    assert found.symbols.tolist() == [[0, 1, 1, 2, 2, 3]]
    assert quantiser.labels.tolist() == [[0, 0], [0, 1], [1, 1], [1, 0]]


@pytest.mark.parametrize("levels", [2, 3, 5, 8])
def test_gaussian_cells_are_equiprobable(levels: int) -> None:
    capture = intervals(normal_intervals(np.random.default_rng(4), 400, 100))
    quantiser = LevelSymbols(cells="gaussian", mean=1.0, deviation=0.05, levels=levels)
    counts = np.bincount(quantiser.quantise(capture, 100).symbols.ravel(), minlength=levels)
    low, high = binom(40_000, 1 / levels).interval(1 - 0.01 / 18)  # 2 + 3 + 5 + 8 counts
    assert ((counts >= low) & (counts <= high)).all()


def test_ranks_by_hand_with_ties_in_order_of_time() -> None:
    quantiser = LevelSymbols(cells="ranks", levels=3)
    found = quantiser.quantise(intervals(heartbeats([0.9, 1.2, 0.8, 0.9, 0.7, 1.0])), 6)
    assert found.symbols.tolist() == [[1, 2, 0, 1, 0, 2]]
    assert np.allclose(norm.cdf(found.features[0, :, 0]) * 6 - 0.5, [2, 5, 1, 3, 0, 4])


def test_ranks_give_every_level_alike_and_one_symbol_away() -> None:
    capture = intervals(normal_intervals(np.random.default_rng(5), 50, 132))
    symbols = LevelSymbols(cells="ranks", levels=4).quantise(capture, 132).symbols
    for level in range(4):
        assert ((symbols == level).sum(axis=1) == 33).all()
    # so the last follows from the others: 4 · 33 less those that are there
    missing = np.array([np.bincount(row[:-1], minlength=4).argmin() for row in symbols])
    assert np.array_equal(missing, symbols[:, -1])
    bits = (lgamma(133) - 4 * lgamma(34)) / log(2)
    assert bits == pytest.approx(253.4, abs=0.05)


def test_ranks_and_attempt_cells_forget_location_and_spread() -> None:
    x = normal_intervals(np.random.default_rng(6), 5, 60)
    for cells in ("ranks", "attempt"):
        quantiser = LevelSymbols(cells=cells)
        plain, moved = (quantiser.quantise(intervals(y), 60).symbols for y in (x, 0.5 * x + 0.25))
        assert np.array_equal(plain, moved)
    fixed = LevelSymbols(cells="gaussian", mean=1.0, deviation=0.05)
    plain, moved = (fixed.quantise(intervals(y), 60).symbols for y in (x, 0.5 * x + 0.25))
    assert not np.array_equal(plain, moved)


def test_even_steps_by_hand() -> None:
    # median .9, median distance .03: a step is .03 / .6745 = .0445
    found = EvenSteps(bits=2).quantise(intervals(heartbeats([0.80, 0.87, 0.90, 0.93, 1.10])), 5)
    assert found.symbols.tolist() == [[0, 1, 2, 2, 3]]
    assert found.features[0, :, 0].tolist() == pytest.approx(
        [-2.2483, -0.6745, 0, 0.6745, 4.4966], abs=1e-3
    )


def test_even_steps_of_a_normal_variable_come_as_stated() -> None:
    capture = intervals(normal_intervals(np.random.default_rng(7), 40, 2001))
    symbols = EvenSteps(bits=2).quantise(capture, 2001).symbols
    share = np.bincount(symbols.ravel()) / symbols.size
    # the attempt's own median and deviation move the cells by about 1 / sqrt(2001)
    assert np.abs(share - [0.159, 0.341, 0.341, 0.159]).max() < 0.01


def test_difference_signs_by_hand() -> None:
    beats = intervals(heartbeats([0.8, 0.9, 0.7, 0.75, 0.75, 0.6]))
    assert DifferenceSigns().quantise(beats, 5).symbols.tolist() == [[1, 0, 1, 0, 0]]
    assert DifferenceSigns(pairs="disjoint").quantise(beats, 3).symbols.tolist() == [[1, 1, 0]]
    assert DifferenceSigns().quantise(beats, 5).features[0, :2, 0].tolist() == pytest.approx([0.1, -0.2])


def test_neighbouring_differences_agree_in_a_third_and_disjoint_ones_in_half() -> None:
    capture = intervals(normal_intervals(np.random.default_rng(8), 2000, 60))
    for pairs, share in (("neighbours", 1 / 3), ("disjoint", 1 / 2), ("random", 1 / 2)):
        symbols = DifferenceSigns(pairs=pairs).quantise(capture, 30).symbols
        alike = symbols[:, 1] == symbols[:, 0]  # one pair an attempt: independent
        low, high = binom(2000, share).interval(1 - 0.01 / 3)
        assert low <= alike.sum() <= high


def test_random_pairs_are_disjoint_public_and_follow_the_seed() -> None:
    x = normal_intervals(np.random.default_rng(9), 1, 60)
    seen = [DifferenceSigns(pairs="random", seed=seed).quantise(intervals(x), 30) for seed in (0, 0, 1)]
    assert np.array_equal(seen[0].symbols, seen[1].symbols)
    assert not np.array_equal(seen[0].features, seen[2].features)
    # a window that grows moves the one difference that it belongs to, up or down
    x[0, 0, 17] += 0.2
    moved = DifferenceSigns(pairs="random").quantise(intervals(x), 30).features - seen[0].features
    assert np.abs(moved).max() == pytest.approx(0.2)
    assert (np.abs(moved) > 1e-9).sum() == 1


def test_crossings_by_hand() -> None:
    # the median is .9: the series goes - + + - - + + + -
    series = heartbeats([0.8, 1.0, 1.0, 0.8, 0.8, 1.0, 1.0, 0.9, 0.8])
    slots = LevelCrossings(steps=2).quantise(intervals(series), 4)
    assert slots.symbols.tolist() == [[1, 1, 1, 1]]
    fine = LevelCrossings(steps=1).quantise(intervals(series), 8)
    assert fine.symbols.tolist() == [[1, 0, 1, 0, 1, 0, 0, 1]]
    up = LevelCrossings(steps=1, edges_counted="up").quantise(intervals(series), 8)
    assert up.symbols.tolist() == [[1, 0, 0, 0, 1, 0, 0, 0]]
    reach = fine.features[..., 0]
    assert (fine.symbols[reach > 0] == 1).all()
    assert (fine.symbols[reach < 0] == 0).all()
    assert (reach != 0).sum() >= 4


def test_gaps_by_hand() -> None:
    series = heartbeats([0.8, 1.0, 1.0, 0.8, 0.8, 1.0, 1.0, 0.9, 0.8])
    gaps = LevelCrossings(read="gaps", steps=2, bits=1).quantise(intervals(series), 3)
    # of the first 7 numbers; crossings before numbers 1, 3, 5: gaps of 2 and 2, and none more
    assert not gaps.acquired.any()
    gaps = LevelCrossings(read="gaps", steps=4, bits=1).quantise(intervals(series), 2)
    assert gaps.acquired.all()
    assert gaps.symbols.tolist() == [[1, 1]]  # two windows or more
    assert gaps.features[0, :, 0].tolist() == [2, 2]
    assert LevelCrossings(read="gaps", bits=3).labels.shape == (8, 3)


def test_slots_are_the_membership_bits_of_the_set_of_crossings() -> None:
    capture = emg(muscle(np.random.default_rng(10), 4, 24.0))
    fine = LevelCrossings(steps=1).quantise(capture, 80).symbols
    coarse = LevelCrossings(steps=4).quantise(capture, 20).symbols
    # both read 81 windows: a wider slot is in the set if any of its elements is
    assert np.array_equal(coarse, fine.reshape(4, 20, 4).any(axis=2))


def test_projections_differ_by_the_angle() -> None:
    """Of vectors at an angle α, a share α/π of the signs, over many seeds."""
    rng = np.random.default_rng(11)
    a = muscle(rng, 1, 12.0)
    b = a + 60 * rng.standard_normal(a.shape)
    differ = 0
    for seed in range(60):
        quantiser = ProjectionSigns(seed=seed)
        found = [quantiser.quantise(emg(x), 200) for x in (a, b)]
        differ += int((found[0].symbols != found[1].symbols).sum())
    edges = quantiser.edges(emg(a), quantiser._windows(emg(a), 200))
    vectors = [
        quantiser._powers_of_bands(x[..., : edges[-1]], emg(x), edges, quantiser._bins(emg(x), edges))[0][0]
        for x in (a, b)
    ]
    share = np.arccos(vectors[0] @ vectors[1]) / np.pi
    assert 0.05 < share < 0.4
    low, high = binom(60 * 200, share).interval(0.99)
    assert low <= differ <= high


def test_projections_follow_the_public_seed_and_not_the_gain() -> None:
    x = muscle(np.random.default_rng(12), 3, 12.0)
    plain, louder, other = (
        ProjectionSigns(seed=seed).quantise(emg(y), 100).symbols for seed, y in ((0, x), (0, 8 * x), (1, x))
    )
    assert np.array_equal(plain, louder)
    assert 0.3 < (plain != other).mean() < 0.7
