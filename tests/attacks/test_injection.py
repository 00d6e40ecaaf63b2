"""Injection reaches what arithmetic gives to whoever knows the waveform."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from active_support import Stage, staged
from scipy.stats import binom

from attacks.injection import Injection
from attacks.waveforms import on_grid, railed, wave
from fixtures.active_controls import known_wave_odds
from fixtures.controls import Channel, SignCommitment
from harness.contracts import DEVICE_B, Capture
from harness.interference import with_runs

AMPLITUDES = (2.0, 3.0, 5.0)
LEVEL = 1 - 0.01 / len(AMPLITUDES)


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Stage:
    people = Channel(subjects=40, length=112, errors=((DEVICE_B, 0.0),))
    return staged(people, SignCommitment(code="hamming-7-4", blocks=16), tmp_path_factory.mktemp("people"))


@pytest.mark.parametrize("amplitude", AMPLITUDES)
def test_odds_per_sign_are_the_mean_over_the_phase(stage: Stage, amplitude: float) -> None:
    right = 0
    for answer in stage.both(Injection(amplitude=amplitude, others=())):
        scores = answer.scores
        assert scores is not None
        assert scores.likely is not None
        mixed = with_runs(stage.honest, answer.acts)
        right += int((scores.likely == mixed.a.symbols[scores.attempt]).sum())
    # values and phases are independent, so every sign is a trial of its own
    low, high = binom.interval(LEVEL, 400 * 112, known_wave_odds(amplitude))
    assert low <= right <= high


def test_at_the_rails_nothing_is_left_to_guess(stage: Stage) -> None:
    answer = stage.pursued(Injection(others=()))
    by_label = {act.strength.label: act for act in answer.acts}
    assert list(by_label) == ["3-sigma", "saturation", "quiet"]
    for label in ("saturation", "quiet"):
        act = by_label[label]
        assert act.agreed.all()
        assert act.right is not None
        assert (act.right[1] == 1).all()


def test_an_absolute_amplitude_is_not_scaled() -> None:
    blank = Capture(samples=np.zeros((50, 1, 400)), rate_hz=1.0, signal="value", unit="1")
    fitted = Injection(amplitude=0.5, absolute=True, sigma=100.0, limits=(-1.0, 1.0))
    _, notes = fitted.interfere({"device-a": blank}, rng=np.random.default_rng(0))
    assert np.abs(notes["waveform"]).max() == pytest.approx(0.5, rel=1e-3)
    scaled = replace(fitted, absolute=False)
    _, notes = scaled.interfere({"device-a": blank}, rng=np.random.default_rng(0))
    assert np.abs(notes["waveform"]).max() == pytest.approx(50.0, rel=1e-3)


def test_a_wave_holds_its_loudness_where_samples_are_short_and_only_there() -> None:
    fast = Capture(samples=np.zeros((40, 1, 2000)), rate_hz=1000.0, signal="emg", unit="uV")
    loud = (
        np.abs(wave(fast, 1.0, hold_s=0.2, rng=np.random.default_rng(1))).reshape(40, 10, 200).max(axis=2)
    )
    assert loud.min() >= 0.99 / 20
    assert np.ptp(loud, axis=1).mean() > 0.3
    slow = Capture(samples=np.zeros((40, 1, 2000)), rate_hz=1.0, signal="value", unit="1")
    flat = wave(slow, 1.0, hold_s=0.2, rng=np.random.default_rng(1))
    # the square of a sine of uniform phase has mean 1/2 and variance 1/8
    assert abs((flat**2).mean() - 0.5) < 4 * np.sqrt(1 / 8 / flat.size)
    signs = railed(fast, 3.0, hold_s=0.2, rng=np.random.default_rng(2)).reshape(40, 10, 200)
    assert set(np.unique(signs)) == {-3.0, 3.0}
    assert (np.ptp(signs, axis=2) == 0).all()


def test_another_sensor_hears_the_same_waveform_at_its_own_rate() -> None:
    told = np.arange(8.0)[None, :]
    half = Capture(samples=np.zeros((1, 2, 6)), rate_hz=5.0, signal="value", unit="1")
    np.testing.assert_array_equal(on_grid(told, 10.0, half)[0, 1], [0, 2, 4, 6, 0, 0])


@pytest.mark.parametrize(("field", "value"), [("kind", "loud"), ("amplitude", 0.0), ("amplitude", np.nan)])
def test_impossible_parameters_are_refused(field: str, value: object) -> None:
    with pytest.raises(ValueError, match=f"`{field}` must be"):
        Injection(**{field: value})
