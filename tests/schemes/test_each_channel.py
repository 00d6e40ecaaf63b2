"""Every channel is read as if it were alone, in turns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from harness.contracts import Capture
from schemes.composed import composed
from schemes.quantisers import DifferenceSigns, EachChannel, quantiser_named

RNG = np.random.default_rng(1)
CAPTURE = Capture(
    samples=100 * RNG.standard_normal((3, 2, 20_000)), rate_hz=1000.0, signal="emg", unit="uV"
)


def test_symbols_take_turns() -> None:
    both = EachChannel(inner=DifferenceSigns(), channels=2).quantise(CAPTURE, 9)
    for channel in range(2):
        alone = DifferenceSigns().quantise(replace(CAPTURE, samples=CAPTURE.samples[:, [channel]]), 5)
        turns = both.symbols[:, channel::2]
        assert np.array_equal(turns, alone.symbols[:, : turns.shape[1]])
        assert both.features is not None
        assert alone.features is not None
        assert np.array_equal(both.features[:, channel::2], alone.features[:, : turns.shape[1]])
    assert both.acquired.all()
    assert both.symbols.shape == (3, 9)


def test_a_silent_or_absent_channel_is_not_acquired() -> None:
    silent = CAPTURE.samples.copy()
    silent[1, 1] = 0.0
    reader = quantiser_named("difference", channels=2)
    assert reader.quantise(replace(CAPTURE, samples=silent), 8).acquired.tolist() == [True, False, True]
    one = reader.quantise(replace(CAPTURE, samples=CAPTURE.samples[:, :1]), 8)
    assert not one.acquired.any()
    assert one.symbols.shape == (3, 8)


def test_half_the_time_suffices_for_two() -> None:
    two, one = (quantiser_named("difference", channels=c) for c in (2, 1))
    assert np.array_equal(two.seconds(CAPTURE, 20), one.seconds(CAPTURE, 10))


@pytest.mark.parametrize("channels", [0, -1, 1.5, "2", True])
def test_channels_are_counted(channels: object) -> None:
    with pytest.raises(ValueError, match="`channels` must be a whole number"):
        quantiser_named("difference", channels=channels)


def test_a_composed_scheme_names_its_channels() -> None:
    tree = {
        "name": "x",
        "signal": "emg",
        "key_bits": 12,
        "quantiser": {"kind": "difference", "channels": 2},
    }
    made = composed(tree)
    assert made.channels[:4].tolist() == [0, 1, 0, 1]
    assert len(made.channels) == made.behind.symbols
    assert made.parameters["quantiser.channels"] == 2
    single = made.with_parameters(**{"quantiser.channels": 1})
    assert not single.channels.any()
