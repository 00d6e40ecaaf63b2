"""Measures of one capture against what was planted in it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from recorded_bodies import RATE, pair, taken

from harness.intake.streams import clipped_share, longest_flat, mains_db, quality


def noise(seconds: float, seed: int = 0, scale: float = 1.0) -> np.ndarray:
    return np.random.default_rng(seed).normal(scale=scale, size=int(seconds * RATE))


def test_a_sound_capture() -> None:
    found = quality(taken(pair(10, 1)[0]))
    assert (found.valid, found.clipped, found.seconds) == (1.0, 0.0, 10.0)
    assert found.floor == pytest.approx(
        2.0, rel=0.15
    )  # of 2 uV; the quietest windows read some percent less
    assert found.flat_s == pytest.approx(0.001)
    assert found.mains_db is not None
    assert found.mains_db < 6
    assert found.active is not None
    assert 0.2 < found.active < 0.8


@pytest.mark.parametrize("ratio", [5.0, 20.0, 100.0])
def test_signal_to_noise_is_the_planted_one(ratio: float) -> None:
    samples = noise(20)
    samples[5_000:10_000] *= ratio
    found = quality(taken(samples))
    assert found.snr_db == pytest.approx(20 * np.log10(ratio), abs=1.5)  # the floor reads about 1 dB low
    assert found.active == pytest.approx(0.25, abs=0.02)


def test_noise_alone_is_not_active() -> None:
    found = quality(taken(noise(30, 3)))
    assert (found.active, found.snr_db) == (0.0, None)


@pytest.mark.parametrize("rail", [60.0, 150.0])
def test_clipping_is_the_planted_share(rail: float) -> None:
    slow = np.repeat(noise(5, 2, 100.0), 8)  # runs at the rails are longer than three samples
    clipped = np.clip(slow, -rail, rail)
    assert clipped_share(clipped[np.newaxis]) == pytest.approx(np.mean(np.abs(slow) >= rail))


@given(st.integers(0, 10_000))
def test_continuous_noise_never_clips(seed: int) -> None:
    assert clipped_share(noise(0.5, seed)[np.newaxis]) == 0.0


def test_a_coarse_signal_at_rest_is_not_called_clipped() -> None:
    assert clipped_share(np.round(noise(10, 5))[np.newaxis]) == 0.0


def test_limits_of_the_format_are_rails() -> None:
    samples = np.linspace(-10, 10, 1000)[np.newaxis]
    assert clipped_share(samples, np.array([[-8.0, 8.0]])) == pytest.approx(0.2, abs=0.01)


@pytest.mark.parametrize("length", [2, 50, 700])
def test_flat_stretches(length: int) -> None:
    samples = noise(2)
    samples[300 : 300 + length] = samples[300]
    assert longest_flat(np.stack([noise(2, 1), samples])) == length


@pytest.mark.parametrize("mains", [50.0, 60.0])
@pytest.mark.parametrize("amplitude", [0.0, 1.0])
def test_mains(mains: float, amplitude: float) -> None:
    times = np.arange(10_000) / RATE
    found = mains_db((noise(10) + amplitude * np.sin(2 * np.pi * mains * times))[np.newaxis], RATE)
    assert found is not None
    if amplitude:
        # half a hertz of noise holds 1/1000 of its power: .5/.001 at the line, spread over five bins
        assert found[0] > 15
        assert found[1] == mains
    else:
        assert found[0] < 4


def test_mains_is_rarely_seen_in_noise_alone() -> None:
    """Of 400 captures of two seconds, none may reach 10 dB by chance; the threshold is 12."""
    levels = [mains_db(noise(2, k)[np.newaxis], RATE) for k in range(400)]
    assert max(level[0] for level in levels if level) < 10


def test_gaps_count_as_gaps_and_do_not_harm_the_rest() -> None:
    samples = pair(10, 4)[0]
    whole = quality(taken(samples))
    samples[2000:3000] = np.nan
    found = quality(taken(samples))
    assert found.valid == pytest.approx(0.9)
    assert found.floor == pytest.approx(whole.floor, rel=0.1)
    assert found.flat_s == pytest.approx(0.001)


def test_event_series_have_a_length_and_no_spectrum() -> None:
    found = quality(taken(np.array([0.8, 0.9, 1.0]), signal="intervals", unit="s", rate_hz=None))
    assert found.seconds == pytest.approx(2.7)
    assert (found.floor, found.mains_db, found.nominal_hz) == (None, None, None)
