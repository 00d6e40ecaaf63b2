"""Conditioning and quantisers: frequency response, symbols, and when an attempt is acquired."""

from __future__ import annotations

import numpy as np
import pytest

from schemes.conditioning import condition, window_power
from schemes.quantisers import IntervalBits, Quantiser, TrendSymbols
from tests.schemes.bodies import RATE, beats, emg, intervals, muscle

COUNT = 24
SECONDS = (COUNT + 1) * 0.2


@pytest.mark.parametrize(
    ("hz", "low", "high"),
    [
        (5, 0.0, 0.01),  # a second-order Butterworth run twice: 1 / (1 + (20 / f)^4)
        (20, 0.49, 0.51),
        (50, 0.0, 0.02),
        (100, 0.99, 1.01),
        (150, 0.99, 1.01),
    ],
)
def test_gain_of_the_conditioning(hz: float, low: float, high: float) -> None:
    wave = np.sin(2 * np.pi * hz * np.arange(10_000) / 1000)
    out = condition(wave, 1000.0, high_pass_hz=20.0, mains_hz=50.0, mains_harmonics=1)
    middle = slice(3000, 7000)
    assert low <= out[middle].std() / wave[middle].std() <= high
    assert out.shape == wave.shape


def test_harmonics_are_notched_as_far_as_the_rate_reaches() -> None:
    wave = np.sin(2 * np.pi * 150 * np.arange(10_000) / 1000)
    out = condition(wave, 1000.0, high_pass_hz=20.0, mains_hz=50.0, mains_harmonics=12)
    assert out[3000:7000].std() < 0.02 * wave.std()


def test_a_corner_beyond_half_the_rate_is_refused() -> None:
    with pytest.raises(ValueError, match="half the sampling rate, 20 Hz, got 20"):
        condition(np.zeros(100), 40.0, high_pass_hz=20.0, mains_hz=50.0, mains_harmonics=1)


def test_window_power_by_hand() -> None:
    assert window_power(np.array([[1.0, 3.0, 2.0, 9.0]]), np.array([0, 2, 3])).tolist() == [[5.0, 4.0]]


def test_trend_is_the_change_of_the_log_envelope() -> None:
    """A carrier whose windows have known amplitudes gives known symbols."""
    rise = np.array([0.5, -2.0, 0.5, 2.0, -0.5, 2.0, -2.0, -0.5] * 3)  # in log amplitude
    amplitude = 20 * np.exp(np.concatenate([[0.0], rise.cumsum()]) / 2)
    carrier = np.sin(2 * np.pi * 100 * np.arange(round(SECONDS * 1000)) / 1000)
    capture = emg((carrier * amplitude.repeat(200))[None, None], rate_hz=1000.0)
    witness = TrendSymbols().quantise(capture, COUNT)
    scale = np.median(np.abs(rise)) / 0.6745
    expected = np.searchsorted((-0.674, 0.0, 0.674), rise / scale)
    assert witness.acquired.all()
    assert np.array_equal(witness.symbols[0], expected)
    assert np.abs(witness.features[0, :, 0] - rise / scale).max() < 0.1


def test_amplitude_and_mains_do_not_change_the_symbols_much() -> None:
    rng = np.random.default_rng(1)
    samples = muscle(rng, 20, SECONDS)
    hum = 30 * np.sin(2 * np.pi * 50 * np.arange(samples.shape[2]) / RATE)
    plain = TrendSymbols().quantise(emg(samples), COUNT)
    louder = TrendSymbols().quantise(emg(4 * samples), COUNT)
    hummed = TrendSymbols().quantise(emg(samples + hum + 500.0), COUNT)
    assert np.array_equal(plain.symbols, louder.symbols)
    assert (plain.symbols != hummed.symbols).mean() < 0.05
    without = TrendSymbols(mains_hz=0.0).quantise(emg(samples + hum), COUNT)
    assert (plain.symbols != without.symbols).mean() > 0.05  # the notch is what did it


def test_half_of_an_attempt_lies_beyond_the_robust_deviation() -> None:
    cut = 0.6744897501960817
    samples = muscle(np.random.default_rng(2), 30, SECONDS)
    symbols = TrendSymbols(thresholds=(-cut, 0.0, cut)).quantise(emg(samples), COUNT).symbols
    assert (np.isin(symbols, (0, 3)).sum(axis=1) == COUNT // 2).all()


def test_short_gappy_quiet_and_absurd_attempts_are_not_acquired_and_keep_their_rows() -> None:
    samples = muscle(np.random.default_rng(3), 7, SECONDS)
    samples[1, 0, -1:] = np.nan
    samples[2, 0, 700:705] = np.nan
    samples[3] *= 1e-3
    samples[4] = 0.0
    samples[5] *= 1e300
    witness = TrendSymbols().quantise(emg(samples), COUNT)
    assert witness.acquired.tolist() == [True, False, False, False, False, False, True]
    assert witness.symbols.shape == (7, COUNT)
    assert np.isfinite(witness.features).all()
    # too quiet for a key is not too quiet to be listened to
    assert np.array_equal(
        witness.symbols[3], TrendSymbols().quantise(emg(samples[3:4] * 1e3), COUNT).symbols[0]
    )


def test_a_capture_shorter_than_the_windows_is_not_acquired() -> None:
    witness = TrendSymbols().quantise(emg(muscle(np.random.default_rng(4), 3, SECONDS - 0.01)), COUNT)
    assert not witness.acquired.any()
    assert witness.symbols.shape == (3, COUNT)


def test_what_follows_the_last_window_does_not_matter() -> None:
    samples = muscle(np.random.default_rng(5), 4, SECONDS + 3)
    exact = samples[..., : round(SECONDS * RATE)]
    tail = samples.copy()
    tail[..., exact.shape[-1] :] = np.nan
    wanted = TrendSymbols().quantise(emg(exact), COUNT)
    for longer in (samples, tail):
        got = TrendSymbols().quantise(emg(longer), COUNT)
        assert np.array_equal(got.features, wanted.features)
        assert got.acquired.all()


def test_channels_are_pooled() -> None:
    samples = muscle(np.random.default_rng(6), 4, SECONDS, channels=3)
    one = TrendSymbols().quantise(emg(samples[:, :1]), COUNT)
    three = TrendSymbols().quantise(emg(samples), COUNT)
    repeated = TrendSymbols().quantise(emg(samples[:, :1].repeat(3, axis=1)), COUNT)
    assert np.allclose(one.features, repeated.features, rtol=1e-9, atol=1e-9)
    assert not np.array_equal(one.features, three.features)


def test_trend_labels_are_gray() -> None:
    assert TrendSymbols().labels.tolist() == [[0, 0], [0, 1], [1, 1], [1, 0]]
    assert TrendSymbols(thresholds=(-0.4, 0.4)).labels.tolist() == [[0, 0], [0, 1], [1, 1]]
    assert TrendSymbols(thresholds=(0.0,)).labels.tolist() == [[0], [1]]


def test_interval_symbols_by_hand() -> None:
    """At 4 ms, .812 s is cell 203 = 6·32 + 11; without its finest bit 11 is 5."""
    quantiser = IntervalBits()
    witness = quantiser.quantise(intervals(np.array([[[0.8125, 0.8165, 0.897]]])), 3)
    assert witness.symbols.tolist() == [[5, 6, 0]]  # .8165 -> 204 -> 12 -> 6; .897 -> 224 = 7 · 32
    assert quantiser.labels[5].tolist() == [0, 1, 1, 1]
    assert witness.features[0, :, 0].tolist() == [0.8125, 0.8165, 0.897]


@pytest.mark.parametrize("kept", [(0,), (0, 1, 2), (1, 2, 3, 4), (0, 2, 4), (3, 4)])
def test_labels_are_the_kept_bits_of_the_gray_code(kept: tuple[int, ...]) -> None:
    quantiser = IntervalBits(kept=kept)
    cells = np.arange(100, 400)
    seen = quantiser.quantise(intervals(((cells + 0.5) * 0.004)[:, None, None]), 1)
    gray = cells % (2 << kept[-1])
    gray = gray ^ (gray >> 1)
    expected = gray[:, None] >> np.array(kept[::-1]) & 1
    assert np.array_equal(quantiser.labels[seen.symbols[:, 0]], expected)


def test_neighbouring_cells_differ_in_at_most_one_bit_also_where_they_wrap() -> None:
    quantiser = IntervalBits()
    cells = np.arange(100, 400)
    seen = quantiser.quantise(intervals(((cells + 0.5) * 0.004)[:, None, None]), 1)
    bits = quantiser.labels[seen.symbols[:, 0]]
    assert (bits[1:] ^ bits[:-1]).sum(axis=1).max() == 1


def test_intervals_acquired_only_if_enough_and_plausible() -> None:
    samples = beats(np.random.default_rng(7), 6, 40)
    samples[1, 0, 31:] = np.nan
    samples[2, 0, 5] = 0.1
    samples[3, 0, 5] = 5.0
    samples[4, 0, 35] = 5.0  # beyond the 32 that are read
    samples[5, 0, 0] = np.inf
    witness = IntervalBits().quantise(intervals(samples), 32)
    assert witness.acquired.tolist() == [True, False, False, False, True, False]
    assert witness.symbols.shape == (6, 32)
    assert not IntervalBits().quantise(intervals(samples[..., :20]), 32).acquired.any()


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: TrendSymbols(thresholds=()), "1 to 255 finite, ascending"),
        (lambda: TrendSymbols(thresholds=(0.5, 0.5)), "ascending"),
        (lambda: TrendSymbols(thresholds=(0.0, np.inf)), "finite"),
        (lambda: TrendSymbols(window_s=0.0), "`window_s` must be positive"),
        (lambda: TrendSymbols(high_pass_hz=-1.0), "`high_pass_hz` must be positive"),
        (lambda: TrendSymbols(mains_hz=-50.0), "`mains_hz` must be 0 or more"),
        (lambda: TrendSymbols(activity_uv=np.nan), "`activity_uv` must be 0 or more"),
        (
            lambda: TrendSymbols(mains_harmonics=-1),
            "`mains_harmonics` must be a whole number of 0 or more, got -1",
        ),
        (lambda: TrendSymbols(mains_harmonics=1.5), "whole number"),  # type: ignore[arg-type]
        (lambda: TrendSymbols(window_s="a"), "`window_s` must be positive and finite, got 'a'"),  # type: ignore[arg-type]
        (lambda: TrendSymbols(thresholds=("a", "b")), "`thresholds`"),  # type: ignore[arg-type]
        (lambda: IntervalBits(kept=("a",)), "`kept`"),  # type: ignore[arg-type]
        (lambda: IntervalBits(plausible_s=("a", "b")), "`plausible_s`"),  # type: ignore[arg-type]
        (lambda: IntervalBits(plausible_s=(1.0,)), "two ascending"),  # type: ignore[arg-type]
        (lambda: IntervalBits(cell_s=0.0), "`cell_s` must be positive"),
        (lambda: IntervalBits(kept=()), "`kept` must be 1 to 8"),
        (lambda: IntervalBits(kept=(2, 1)), "ascending"),
        (lambda: IntervalBits(kept=(1, 31)), "0 to 30"),
        (lambda: IntervalBits(plausible_s=(2.0, 0.3)), "two ascending"),
        (lambda: TrendSymbols().quantise(emg(np.zeros((1, 1, 9)), rate_hz=None), 1), "None Hz"),
        (lambda: TrendSymbols().quantise(emg(np.zeros((1, 1, 9)), unit="mV"), 1), "'uV'.*'mV'"),
        (
            lambda: TrendSymbols(window_s=0.01).quantise(emg(np.zeros((1, 1, 9)), rate_hz=100.0), 1),
            "two samples",
        ),
        (lambda: IntervalBits().quantise(intervals(np.ones((1, 1, 9)), rate_hz=4.0), 1), "4.0 Hz"),
        (lambda: IntervalBits().quantise(intervals(np.ones((1, 1, 9)), unit="ms"), 1), "'ms'"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()


def test_both_are_quantisers() -> None:
    assert isinstance(TrendSymbols(), Quantiser)
    assert isinstance(IntervalBits(), Quantiser)
