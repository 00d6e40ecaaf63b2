"""Offset and drift against planted ones, and how honest their intervals are."""

from __future__ import annotations

import numpy as np
import pytest
from recorded_bodies import pair, taken

from harness.intake.clocks import Clock, clocks, lag_of, wider
from harness.intake.onsets import onset_s, shifts


def clock(seconds: float, seed: int, **planted: float) -> Clock:
    a, b = pair(seconds, seed, **planted)
    (found,) = clocks([taken(a), taken(b, "device-b")])
    return found


def test_37_ms_and_50_ppm_are_found_within_their_errors() -> None:
    found = clock(300, 11, offset_s=0.037, drift_ppm=50)
    assert found.offset_s is not None
    assert found.offset_error_s is not None
    assert found.drift_ppm is not None
    assert found.drift_error_ppm is not None
    assert found.offset_error_s < 0.001
    assert found.drift_error_ppm < 5
    assert abs(found.offset_s - 0.037) < 1.5 * found.offset_error_s  # 95 % once, 99.7 % at 1.5 times
    assert abs(found.drift_ppm - 50) < 1.5 * found.drift_error_ppm
    assert found.aligned > found.agreement + 0.005


def test_the_sign_says_who_is_late() -> None:
    found = clock(30, 5, offset_s=-0.1)
    assert found.offset_s == pytest.approx(-0.1, abs=0.002)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Of 40 recordings 38 are expected to; fewer than 34 has a chance of .003 (binomial)."""
    inside = 0
    for seed in range(40):
        found = clock(40, 100 + seed, offset_s=0.02, drift_ppm=-30)
        assert found.offset_s is not None
        assert found.offset_error_s is not None
        inside += abs(found.offset_s - 0.02) <= found.offset_error_s
    assert inside >= 34


def test_attempts_cut_from_one_recording_share_a_clock() -> None:
    a, b = pair(120, 3, offset_s=0.01, drift_ppm=200)
    captures = []
    for attempt in range(12):
        cut = slice(attempt * 10_000, (attempt + 1) * 10_000)
        for role, samples in (("device-a", a), ("device-b", b)):
            captures.append(
                taken(samples[cut], role, attempt=attempt, origin=(role, ""), start_s=attempt * 10.0)
            )
    (found,) = clocks(captures)
    assert found.drift_ppm == pytest.approx(200, abs=15)
    assert found.offset_s == pytest.approx(0.01, abs=0.001)


def test_unrelated_records_have_no_clock() -> None:
    a, _ = pair(60, 1)
    _, b = pair(60, 2)
    (found,) = clocks([taken(a), taken(b, "device-b")])
    assert len(found.lags_s) <= found.windows // 2
    assert found.agreement < 0.5


def test_one_window_has_no_error() -> None:
    found = clock(5, 8, offset_s=0.03)
    assert found.offset_s == pytest.approx(0.03, abs=0.01)
    assert (found.offset_error_s, found.drift_ppm) == (None, None)
    assert wider(found, 1) == float("inf")


def test_widening_grows_with_the_number_of_tests() -> None:
    found = clock(60, 8)
    assert 1 < wider(found, 1) < wider(found, 10) < wider(found, 1000)


def test_a_lag_between_samples() -> None:
    rng = np.random.default_rng(0)
    times = np.arange(1250) / 250
    bumps = [(rng.uniform(0.2, 4.8), rng.uniform(0.5, 1)) for _ in range(6)]

    def seen(shift: float) -> np.ndarray:
        return sum(h * np.exp(-0.5 * ((times - t - shift) / 0.05) ** 2) for t, h in bumps)  # type: ignore[return-value]

    found = lag_of(seen(0.0), seen(0.0137), 250.0)
    assert found == pytest.approx(0.0137, abs=2e-4)
    assert lag_of(np.zeros(1250), seen(0.0), 250.0) is None


def burst(start: float, rng: np.random.Generator) -> np.ndarray:
    samples = rng.normal(size=6000)
    samples[int(start * 1000) : int(start * 1000) + 2000] *= 30
    return samples


def test_onsets_and_what_aligning_them_gains() -> None:
    rng = np.random.default_rng(4)
    a, b = burst(1.0, rng), burst(1.25, rng)
    assert onset_s(a[np.newaxis], 1000.0) == pytest.approx(1.0, abs=0.05)
    (found,) = shifts([taken(a), taken(b, "device-b")])
    assert found.shift_s == pytest.approx(0.25, abs=0.03)
    assert found.after > found.before + 0.05


@pytest.mark.parametrize(
    "samples", [np.random.default_rng(1).normal(size=6000), burst(0.0, np.random.default_rng(2))]
)
def test_no_onset_without_rest_and_activity(samples: np.ndarray) -> None:
    assert onset_s(samples[np.newaxis], 1000.0) is None
