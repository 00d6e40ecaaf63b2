"""The two scheme families end to end, in every composition."""

from __future__ import annotations

import math
import pickle
from dataclasses import dataclass

import numpy as np
import pytest

from harness.contracts import Array, Capture, Disclosed, Scheme, Witness
from schemes import gf2
from schemes.codes import bch, golay23
from schemes.envelope_trend import EnvelopeTrend
from schemes.extraction import Toeplitz
from schemes.interval_gray import IntervalGray
from schemes.quantisers import TrendSymbols
from schemes.sketches import SyndromeSketch
from tests.schemes.bodies import beats, emg, intervals, muscle

# what is common for keys from muscle signals: 0.15 s, three symbols in two bits, Golay (23, 12)
THREE_SYMBOLS = {"window_s": 0.15, "thresholds": (-0.43, 0.43), "code": "golay-23-12"}

SHORT = {"blocks": 3, "key_bits": 36}
CONFIGURATIONS = [
    EnvelopeTrend(),
    EnvelopeTrend(**SHORT, extraction="toeplitz"),
    EnvelopeTrend(**SHORT, extraction="identity", sketch="syndrome"),
    EnvelopeTrend(**THREE_SYMBOLS),
    EnvelopeTrend(thresholds=(0.0,), code="hamming-7-4", blocks=4, key_bits=16),
    EnvelopeTrend(thresholds=(-1.0, -0.5, 0.0, 0.5, 1.0), code="bch-31-16", blocks=2, key_bits=20),
    IntervalGray(),
    IntervalGray(kept=(1, 2, 3), code="bch-63-30", blocks=2, key_bits=60, extraction="toeplitz"),
    IntervalGray(code="golay-23-12", blocks=3, key_bits=30, sketch="syndrome", extraction="identity"),
]
NAMES = [f"{scheme.name}-{index}" for index, scheme in enumerate(CONFIGURATIONS)]
every_configuration = pytest.mark.parametrize("scheme", CONFIGURATIONS, ids=NAMES)


def capture_for(scheme: Scheme, attempts: int, *, noise: float = 0.0, seed: int = 1) -> Capture:
    rng = np.random.default_rng(seed)
    if scheme.signal == "intervals":
        clean = beats(rng, attempts, 70)
        return intervals(clean + 0.001 * noise * rng.standard_normal(clean.shape))
    clean = muscle(rng, attempts, 28.0)
    return emg(clean + 5 * noise * rng.standard_normal(clean.shape))


@every_configuration
def test_contract(scheme: Scheme) -> None:
    assert isinstance(scheme, Scheme)
    assert isinstance(scheme, Disclosed)
    assert pickle.loads(pickle.dumps(scheme)) == scheme
    witness = scheme.witness(capture_for(scheme, 5))
    assert witness.acquired.all()
    assert witness.symbols.dtype == np.uint8
    assert witness.symbols.max() < witness.alphabet == len(scheme.labels)
    assert witness.features is not None
    assert witness.features.shape == (*witness.symbols.shape, 1)
    keys, helper = scheme.generate(witness, rng=np.random.default_rng(0))
    assert keys.shape == (5, scheme.key_bits)
    assert keys.dtype == np.uint8
    assert all(len(value) == 5 and value.dtype == np.uint8 for value in helper.values())


@every_configuration
def test_equal_witnesses_give_equal_keys_on_separate_copies(scheme: Scheme) -> None:
    a, b = (pickle.loads(pickle.dumps(scheme)) for _ in range(2))
    capture = capture_for(scheme, 6)
    keys, helper = a.generate(a.witness(capture), rng=np.random.default_rng(3))
    again, accepted = b.reproduce(b.witness(capture), helper)
    assert accepted.all()
    assert np.array_equal(again, keys)


@every_configuration
def test_what_is_disclosed_is_true_of_honest_runs(scheme: Scheme) -> None:
    witness = scheme.witness(capture_for(scheme, 6))
    keys, helper = scheme.generate(witness, rng=np.random.default_rng(4))
    linear = scheme.linear(helper)
    bits = np.pad(scheme.labels[witness.symbols].reshape(6, -1), ((0, 0), (0, 1)))
    blocks = bits[:, linear.positions[0]]
    assert linear.positions.max() < bits.shape[1] - 1
    assert np.array_equal(gf2.product(blocks, linear.parity.T), linear.syndrome)
    secret = gf2.product(blocks, linear.secret_map.T) ^ linear.secret_offset
    assert np.array_equal(scheme.finish(secret.reshape(6, -1), helper), keys)


@every_configuration
def test_rows_depend_on_themselves_alone(scheme: Scheme) -> None:
    capture = capture_for(scheme, 7)
    whole = scheme.witness(capture)
    _, helper = scheme.generate(whole, rng=np.random.default_rng(5))
    noisy = scheme.witness(capture_for(scheme, 7, noise=1.0))
    again, accepted = scheme.reproduce(noisy, helper)
    for rows in (slice(0, 1), slice(2, 5), slice(6, 7)):
        part = scheme.witness(
            Capture(
                samples=capture.samples[rows],
                rate_hz=capture.rate_hz,
                signal=capture.signal,
                unit=capture.unit,
            )
        )
        assert np.array_equal(part.features, whole.features[rows])
        assert np.array_equal(part.symbols, whole.symbols[rows])
        other = Witness(symbols=noisy.symbols[rows], alphabet=noisy.alphabet, acquired=noisy.acquired[rows])
        key, ok = scheme.reproduce(other, {name: value[rows] for name, value in helper.items()})
        assert np.array_equal(key, again[rows])
        assert np.array_equal(ok, accepted[rows])


@pytest.mark.parametrize(
    "scheme", [EnvelopeTrend(), IntervalGray()], ids=["envelope-trend", "interval-gray"]
)
def test_a_second_sensor_with_some_noise_agrees(scheme: Scheme) -> None:
    a, b = (scheme.witness(capture_for(scheme, 40, noise=noise)) for noise in (0.0, 1.0))
    assert 0 < (a.symbols != b.symbols).mean() < 0.15
    keys, helper = scheme.generate(a, rng=np.random.default_rng(5))
    again, accepted = scheme.reproduce(b, helper)
    assert accepted.sum() > 30
    assert np.array_equal(again[accepted], keys[accepted])


@every_configuration
def test_a_stranger_does_not_get_the_key(scheme: Scheme) -> None:
    keys, helper = scheme.generate(scheme.witness(capture_for(scheme, 6)), rng=np.random.default_rng(6))
    stranger = scheme.witness(capture_for(scheme, 6, seed=2))
    again, accepted = scheme.reproduce(stranger, helper)
    assert not (accepted & (again == keys).all(axis=1)).any()


@every_configuration
def test_an_attempt_that_is_not_acquired_keeps_its_rows_and_is_not_accepted(scheme: Scheme) -> None:
    capture = capture_for(scheme, 3)
    samples = capture.samples.copy()
    samples[1, 0, 2:] = np.nan
    broken = scheme.witness(
        Capture(samples=samples, rate_hz=capture.rate_hz, signal=capture.signal, unit=capture.unit)
    )
    assert broken.acquired.tolist() == [True, False, True]
    keys, helper = scheme.generate(broken, rng=np.random.default_rng(7))
    assert keys.shape == (3, scheme.key_bits)
    again, accepted = scheme.reproduce(broken, helper)
    assert accepted.tolist() == [True, False, True]
    assert not again[1].any()


def test_every_error_pattern_within_t_is_corrected_and_four_are_refused() -> None:
    scheme = EnvelopeTrend()
    witness = scheme.witness(capture_for(scheme, 40))
    keys, helper = scheme.generate(witness, rng=np.random.default_rng(8))
    order = np.random.default_rng(9).random((40, 11, 12)).argsort(axis=2).argsort(axis=2)
    for flips in (3, 4):
        # a Gray neighbour within 0, 1 | 2, 3: one bit of a two-bit symbol
        symbols = witness.symbols ^ (order < flips).reshape(40, 132).astype(np.uint8)
        changed = Witness(symbols=symbols, alphabet=4, acquired=witness.acquired)
        again, accepted = scheme.reproduce(changed, helper)
        assert (accepted == (flips == 3)).all()
        assert np.array_equal(again, keys) == (flips == 3)


def test_three_symbol_configuration_has_22_witness_bits_and_an_empty_position_a_block() -> None:
    scheme = EnvelopeTrend(**THREE_SYMBOLS)
    witness = scheme.witness(capture_for(scheme, 4))
    _, helper = scheme.generate(witness, rng=np.random.default_rng(10))
    positions = scheme.linear(helper).positions
    assert witness.alphabet == 3
    assert witness.symbols.shape == (4, 121)
    assert positions.shape == (1, 11, 23)
    assert (positions[0, :, 22] == -1).all()
    assert scheme.labels.tolist() == [[0, 0], [0, 1], [1, 1]]
    # common practice: 10.57 bit/s before reconciliation, 13.3 as coded, 22 - 11 of 22 bits after it
    assert math.log2(witness.alphabet) / scheme.window_s == pytest.approx(10.57, abs=0.005)
    assert scheme.labels.shape[1] / scheme.window_s == pytest.approx(13.33, abs=0.005)
    assert (22 - 11) / (11 * scheme.window_s) == pytest.approx(6.67, abs=0.005)


def test_default_shapes() -> None:
    trend, gray = EnvelopeTrend(), IntervalGray()
    assert trend.witness(capture_for(trend, 2)).symbols.shape == (2, 132)
    witness = gray.witness(capture_for(gray, 2))
    assert witness.symbols.shape == (2, 32)
    _, helper = gray.generate(witness, rng=np.random.default_rng(0))
    assert helper["offset"].shape == (2, 1, 127)
    assert gray.linear(helper).positions.max() == 126  # the last of 128 bits is unused


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """A quantiser from elsewhere."""

    @property
    def labels(self) -> Array:
        return np.array([[0], [1]], np.uint8)

    def quantise(self, capture: Capture, count: int) -> Witness:
        x = capture.samples[:, 0, 7 : 7 + count]
        return Witness(symbols=(x > 0).astype(np.uint8), alphabet=2, acquired=np.ones(len(x), bool))

    def seconds(self, capture: Capture, count: int) -> Array:
        return np.zeros(len(capture.samples))


@dataclass(frozen=True, slots=True, kw_only=True)
class Backwards:
    """An extraction from elsewhere."""

    def public(
        self, attempts: int, *, secret_bits: int, key_bits: int, rng: np.random.Generator
    ) -> dict[str, Array]:
        return {}

    def key(self, secret: Array, helper: object, *, key_bits: int) -> Array:
        return secret[:, ::-1][:, :key_bits]


def test_quantiser_sketch_and_extraction_are_replaceable_by_objects() -> None:
    scheme = EnvelopeTrend(
        quantiser=Sign(),
        sketch=SyndromeSketch(code=golay23()),
        extraction=Backwards(),
        blocks=2,
        key_bits=24,
    )
    capture = capture_for(scheme, 5)
    witness = scheme.witness(capture)
    assert witness.symbols.shape == (5, 46)
    keys, helper = scheme.generate(witness, rng=np.random.default_rng(0))
    assert set(helper) == {"syndrome"}
    first = witness.symbols.reshape(5, 2, 23)[:, :, :12].reshape(5, 24)
    assert np.array_equal(keys, first[:, ::-1])
    assert np.array_equal(scheme.reproduce(scheme.witness(capture), helper)[0], keys)


def test_names_and_objects_make_the_same_scheme() -> None:
    by_name = EnvelopeTrend(code="bch-127-64", blocks=2, extraction="toeplitz")
    by_object = EnvelopeTrend(code=bch(127, 64), blocks=2, extraction=Toeplitz(), quantiser=TrendSymbols())
    witness = by_name.witness(capture_for(by_name, 3))
    assert np.array_equal(by_object.witness(capture_for(by_object, 3)).symbols, witness.symbols)
    keys = [s.generate(witness, rng=np.random.default_rng(0))[0] for s in (by_name, by_object)]
    assert np.array_equal(keys[0], keys[1])


def test_values_as_a_command_line_parses_them() -> None:
    assert EnvelopeTrend(thresholds=0).thresholds == (0.0,)  # type: ignore[arg-type]
    assert EnvelopeTrend(thresholds=[-1, 1]).thresholds == (-1.0, 1.0)  # type: ignore[arg-type]
    assert IntervalGray(kept=(1.0, 2.0, 3.0, 4.0)).kept == (1, 2, 3, 4)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: EnvelopeTrend(code="golay-24-21"), "nearest is 'golay-24-12'"),
        (lambda: EnvelopeTrend(extraction="hdkf"), "nearest is 'hkdf'"),
        (lambda: EnvelopeTrend(sketch="offset"), "nearest is 'code-offset'"),
        (lambda: EnvelopeTrend(blocks=10), "1 to 120, which is the secret, got 128"),
        (lambda: EnvelopeTrend(blocks=-1), "`blocks` must be a whole number of at least 1"),
        (lambda: EnvelopeTrend(window_s=-0.2), "`window_s`"),
        (lambda: EnvelopeTrend(thresholds=(1.0, 0.0)), "`thresholds`"),
        (lambda: EnvelopeTrend(activity_uv=-1.0), "`activity_uv`"),
        (lambda: EnvelopeTrend(blocks=11.5), "whole number of at least 1, got 11.5"),  # type: ignore[arg-type]
        (lambda: EnvelopeTrend(key_bits="x"), "`key_bits`"),  # type: ignore[arg-type]
        (lambda: EnvelopeTrend(thresholds="x"), "`thresholds`"),  # type: ignore[arg-type]
        (lambda: IntervalGray(key_bits=65), "1 to 64"),
        (lambda: IntervalGray(kept=(1.5,)), "bit numbers"),  # type: ignore[arg-type]
        (lambda: IntervalGray(cell_s=0.0), "`cell_s`"),
        (lambda: IntervalGray().witness(emg(np.zeros((1, 1, 9)))), "'intervals', got 'emg'"),
        (lambda: EnvelopeTrend().witness(intervals(np.ones((1, 1, 9)))), "'emg', got 'intervals'"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()
