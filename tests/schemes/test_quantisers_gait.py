"""The gait quantiser against walks whose cycles are known."""

from __future__ import annotations

import numpy as np
import pytest

from harness.contracts import Array, Capture
from schemes.quantisers import GaitDeviation
from schemes.quantisers.gait import cycle_length

RATE = 100.0


def walk(stride_s: float, heights: Array) -> Capture:
    """One axis in g; cycle i is a wave of two steps of height `heights[i]`."""
    time = np.arange(round(len(heights) * 1.4 * RATE)) / RATE
    at = np.minimum((time / stride_s).astype(int), len(heights) - 1)
    wave = np.asarray(heights)[at] * np.cos(4 * np.pi * time / stride_s)
    return Capture(samples=wave[None, None], rate_hz=RATE, signal="acceleration", unit="g")


@pytest.mark.parametrize("stride", [0.85, 1.0, 1.037, 1.3])
def test_cycle_length_is_that_of_two_steps(stride: float) -> None:
    time = np.arange(4000) / RATE
    left_and_right = np.cos(4 * np.pi * time / stride) + 0.4 * np.cos(2 * np.pi * time / stride)
    lag, height = cycle_length(left_and_right[None], 80.0, 135.0)
    assert lag[0] == pytest.approx(100 * stride, abs=0.2)
    assert height[0] > 0.9


def test_noise_has_no_cycle_and_silence_neither() -> None:
    rng = np.random.default_rng(0)
    _, height = cycle_length(np.vstack([rng.standard_normal((20, 4000)), np.zeros((1, 4000))]), 80.0, 135.0)
    assert height[:20].max() < 0.15
    assert height[20] == 0
    noise = Capture(
        samples=0.2 * rng.standard_normal((5, 1, 6000)), rate_hz=RATE, signal="acceleration", unit="g"
    )
    assert not GaitDeviation().quantise(noise, 60).acquired.any()


def test_bits_say_which_cycles_are_high_where_the_wave_is_high() -> None:
    rng = np.random.default_rng(1)
    heights = np.where(rng.random(30) < 0.5, 0.5, 0.3)
    # 8 parts of two steps: part 0 and 4 hold each step's rise through 0, so look where the wave is extreme
    witness = GaitDeviation(parts=8).quantise(walk(1.0, heights), 160)
    assert witness.acquired.all()
    deviation = witness.features[0, :, 0].reshape(20, 8)
    extreme = np.abs(deviation).mean(axis=0).argmax()
    wave = np.cos(4 * np.pi * (np.arange(8 * 10) / 80)).reshape(8, 10).mean(axis=1)
    expected = (heights[:20] > heights[:20].mean()) == (wave[extreme] > 0)
    bits = witness.symbols[0].reshape(20, 8)[:, extreme]
    assert (bits == expected)[1:-1].mean() > 0.9  # the filter rings at the edges of a cycle


def test_deviations_of_a_place_sum_to_zero() -> None:
    heights = np.exp(0.3 * np.random.default_rng(2).standard_normal(40))
    features = GaitDeviation(parts=4).quantise(walk(1.1, heights), 80).features
    assert np.abs(features.reshape(20, 4).sum(axis=0)).max() < 1e-9


def test_a_late_step_moves_all_later_bits() -> None:
    time = np.arange(6000) / RATE
    late = np.where(time > 20, time - 0.06, time)
    rng = np.random.default_rng(3)
    noise = 0.01 * rng.standard_normal(6000)
    found = [
        GaitDeviation().quantise(
            Capture(
                samples=(np.cos(4 * np.pi * t) + noise)[None, None],
                rate_hz=RATE,
                signal="acceleration",
                unit="g",
            ),
            120,
        )
        for t in (time, late)
    ]
    before, after = (np.abs(w.features[0, 4:, 0]) for w in found)  # without where the filter runs in
    assert after.mean() > 5 * before.mean()
    # and the parts of one cycle are then of one cause: the same pattern in all later cycles
    later = found[1].symbols[0].reshape(30, 4)[24:]
    assert (later == later[0]).mean() > 0.9


def test_other_units_are_refused() -> None:
    capture = Capture(samples=np.zeros((1, 1, 9000)), rate_hz=RATE, signal="acceleration", unit="m/s^2")
    with pytest.raises(ValueError, match=r"in 'g' .* 'm/s\^2'"):
        GaitDeviation().quantise(capture, 40)
