"""What every quantiser promises, on every kind of capture it reads."""

from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pytest

from harness.contracts import Array, Capture
from schemes.quantisers import QUANTISERS, Quantiser, quantiser_named, quantiser_parameters
from tests.schemes.bodies import beats, emg, intervals, muscle, walking

COUNT = 40
MAKERS: dict[str, Any] = {
    "emg": lambda rng: emg(muscle(rng, 6, 24.0)),
    "intervals": lambda rng: intervals(beats(rng, 6, 130)),
    "acceleration": lambda rng: walking(rng, 6, 60.0),
}
CASES: list[tuple[str, str, dict[str, Any]]] = [
    ("emg", "trend", {}),
    ("emg", "level", {}),
    ("emg", "level", {"cells": "ranks", "levels": 5}),
    ("emg", "level", {"cells": "gaussian", "mean": 8.5, "deviation": 1.2}),
    ("emg", "even-steps", {"bits": 3, "step": 0.5}),
    ("emg", "difference", {}),
    ("emg", "difference", {"pairs": "disjoint"}),
    ("emg", "difference", {"pairs": "random", "seed": 4}),
    ("emg", "crossings", {}),
    ("emg", "crossings", {"read": "gaps", "steps": 4, "window_s": 0.1}),
    ("emg", "projections", {}),
    ("intervals", "interval-gray", {}),
    ("intervals", "level", {}),
    ("intervals", "difference", {"pairs": "random"}),
    ("intervals", "crossings", {"edges_counted": "up"}),
    ("acceleration", "level", {"window_s": 1.0}),
    ("acceleration", "gait-deviation", {}),
    ("acceleration", "projections", {"window_s": 1.0, "bands_hz": (0.5, 3.0, 5.0)}),
]
every_case = pytest.mark.parametrize(
    ("signal", "kind", "parameters"), CASES, ids=[f"{k}-{s}-{i}" for i, (s, k, _) in enumerate(CASES)]
)


def capture_of(signal: str, seed: int = 1) -> Capture:
    made: Capture = MAKERS[signal](np.random.default_rng(seed))
    return made


def changed(capture: Capture, samples: Array) -> Capture:
    return Capture(samples=samples, rate_hz=capture.rate_hz, signal=capture.signal, unit=capture.unit)


def test_every_kind_has_a_case() -> None:
    assert {kind for _, kind, _ in CASES} == set(QUANTISERS)


@every_case
def test_shape_range_and_features(signal: str, kind: str, parameters: dict[str, Any]) -> None:
    quantiser, capture = quantiser_named(kind, **parameters), capture_of(signal)
    assert isinstance(quantiser, Quantiser)
    assert pickle.loads(pickle.dumps(quantiser)) == quantiser
    witness = quantiser.quantise(capture, COUNT)
    assert witness.acquired.all()
    assert witness.symbols.shape == (6, COUNT)
    assert witness.symbols.dtype == np.uint8
    assert witness.alphabet == len(quantiser.labels)
    assert len(np.unique(witness.symbols)) == witness.alphabet  # every symbol comes
    assert witness.features.shape == (6, COUNT, 1)
    assert witness.features.dtype == np.float64
    assert np.isfinite(witness.features).all()
    assert len(np.unique(quantiser.labels, axis=0)) == witness.alphabet


@every_case
def test_labels_of_neighbours_differ_in_one_bit(signal: str, kind: str, parameters: dict[str, Any]) -> None:
    labels = quantiser_named(kind, **parameters).labels
    assert (labels[1:] ^ labels[:-1]).sum(axis=1).max() == 1


@every_case
def test_rows_depend_on_themselves_alone(signal: str, kind: str, parameters: dict[str, Any]) -> None:
    quantiser, capture = quantiser_named(kind, **parameters), capture_of(signal)
    whole = quantiser.quantise(capture, COUNT)
    for rows in (slice(0, 1), slice(2, 5)):
        part = quantiser.quantise(changed(capture, capture.samples[rows]), COUNT)
        assert np.array_equal(part.features, whole.features[rows])
        assert np.array_equal(part.symbols, whole.symbols[rows])
    padded = np.pad(capture.samples, ((0, 0), (0, 0), (0, 9)), constant_values=np.nan)
    assert np.array_equal(quantiser.quantise(changed(capture, padded), COUNT).features, whole.features)


@every_case
def test_what_is_short_gappy_or_still_is_not_acquired(
    signal: str, kind: str, parameters: dict[str, Any]
) -> None:
    quantiser, capture = quantiser_named(kind, **parameters), capture_of(signal)
    samples = capture.samples.copy()
    samples[1, :, 30:] = np.nan
    samples[2, 0, 5] = np.nan
    samples[3] *= 1e-4
    samples[4] *= 1e300
    witness = quantiser.quantise(changed(capture, samples), COUNT)
    assert witness.acquired.tolist() == [True, False, False, False, False, True]
    assert witness.symbols.shape == (6, COUNT)
    assert np.isfinite(witness.features).all()
    assert not quantiser.quantise(changed(capture, samples[..., :20]), COUNT).acquired.any()


@every_case
def test_seconds_are_what_the_symbols_need(signal: str, kind: str, parameters: dict[str, Any]) -> None:
    quantiser, capture = quantiser_named(kind, **parameters), capture_of(signal)
    needed = quantiser.seconds(capture, COUNT)
    assert needed.shape == (6,)
    whole = quantiser.quantise(capture, COUNT)
    for row in range(2):
        if capture.rate_hz is None:
            length = int((np.cumsum(capture.samples[row, 0]) <= needed[row] + 1e-9).sum())
        else:
            length = round(needed[row] * capture.rate_hz)
        enough = capture.samples[row : row + 1, :, :length]
        again = quantiser.quantise(changed(capture, enough), COUNT)
        assert again.acquired.all()
        assert np.array_equal(again.symbols[0], whole.symbols[row])
        assert not quantiser.quantise(changed(capture, enough[..., :-1]), COUNT).acquired.any()


@every_case
def test_wrong_captures_are_refused(signal: str, kind: str, parameters: dict[str, Any]) -> None:
    quantiser, capture = quantiser_named(kind, **parameters), capture_of(signal)
    bad = Capture(samples=capture.samples, rate_hz=capture.rate_hz, signal=capture.signal, unit="mV")
    with pytest.raises(ValueError, match="'mV'"):
        quantiser.quantise(bad, COUNT)
    rate = 4.0 if capture.rate_hz is None else None
    bad = Capture(samples=capture.samples, rate_hz=rate, signal=capture.signal, unit=capture.unit)
    with pytest.raises(ValueError, match="Hz"):
        quantiser.quantise(bad, COUNT)


@every_case
def test_a_noisy_copy_agrees_and_a_stranger_does_not(
    signal: str, kind: str, parameters: dict[str, Any]
) -> None:
    if parameters.get("read") == "gaps":
        pytest.skip("one crossing missed shifts all that follow")
    quantiser, capture = quantiser_named(kind, **parameters), capture_of(signal)
    noise = np.random.default_rng(3).standard_normal(capture.samples.shape)
    size = {"emg": 2.0, "intervals": 0.001, "acceleration": 0.005}[signal]
    own, copy, other = (
        quantiser.labels[quantiser.quantise(c, COUNT).symbols]
        for c in (capture, changed(capture, capture.samples + size * noise), capture_of(signal, seed=2))
    )
    assert (own != copy).mean() < 0.1
    assert (own != other).mean() > 0.2


def test_parameters_are_those_of_the_class_with_their_usual_values() -> None:
    usual = quantiser_parameters("level")
    assert usual["levels"] == 4
    assert quantiser_named("level", **usual) == quantiser_named("level")
    assert quantiser_named("trend", thresholds=[-1, 1]).labels.shape == (3, 2)
    assert quantiser_named("trend", thresholds=0.0).labels.shape == (2, 1)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: quantiser_named("levl"), "nearest is 'level'"),
        (lambda: quantiser_named("level", windows=1), "no parameter 'windows'; the nearest is 'window_s'"),
        (
            lambda: quantiser_named("level", levels=1),
            "`levels` must be a whole number from 2 to 256, got 1",
        ),
        (lambda: quantiser_named("level", levels=True), "`levels`"),
        (lambda: quantiser_named("level", cells="rank"), "`cells` .* nearest is 'ranks'"),
        (lambda: quantiser_named("level", window_s=True), "`window_s` must be positive"),
        (lambda: quantiser_named("level", deviation=0), "`deviation`"),
        (lambda: quantiser_named("level", mean="a"), "`mean`"),
        (lambda: quantiser_named("level", plausible_s=[2, 1]), "`plausible_s` must be two ascending"),
        (lambda: quantiser_named("even-steps", bits=9), "`bits` .* from 1 to 8, got 9"),
        (lambda: quantiser_named("even-steps", step=-1), "`step`"),
        (lambda: quantiser_named("difference", pairs="neighbour"), "nearest is 'neighbours'"),
        (lambda: quantiser_named("difference", seed=-1), "`seed`"),
        (lambda: quantiser_named("crossings", steps=0), "`steps`"),
        (lambda: quantiser_named("crossings", read="slot"), "nearest is 'slots'"),
        (lambda: quantiser_named("gait-deviation", parts=0), "`parts`"),
        (lambda: quantiser_named("gait-deviation", cycle_s=[1, 0.5]), "`cycle_s` must be two ascending"),
        (
            lambda: quantiser_named("gait-deviation", band_hz=[1, 60]).quantise(
                capture_of("acceleration"), 4
            ),
            "half the sampling rate, 50 Hz, got 1 and 60",
        ),
        (lambda: quantiser_named("projections", bands_hz=[20]), "`bands_hz` must be 2 to 65"),
        (
            lambda: quantiser_named("projections", bands_hz=[21, 23]).quantise(capture_of("emg"), 4),
            "a multiple of 4 Hz",
        ),
        (
            lambda: quantiser_named("projections", bands_hz=[20, 300]).quantise(capture_of("emg"), 4),
            "end below half the sampling rate, 250 Hz, got 300",
        ),
        (lambda: quantiser_named("level", window_s=0.001).quantise(capture_of("emg"), 4), "two samples"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call: Any, text: str) -> None:
    with pytest.raises(ValueError, match=text) as told:
        call()
    assert "\n" not in str(told.value)
