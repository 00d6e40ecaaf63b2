"""Where a rate comes from, and what contradicts it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from harness.errors import CorpusError
from harness.recordings.manifest import Row
from harness.recordings.rates import rate_of
from harness.recordings.recording import Recording


def of(signal: str = "emg", rate_hz: float | None = None, **recording: Any) -> float | None:
    # nothing of the row but these two is asked for
    row = Row.model_construct(signal=signal, rate_hz=rate_hz)
    return rate_of(Recording(samples=np.zeros((1, 4)), **recording), row)


TIMES = np.array([0.0, 0.1, 0.2, 0.3])


def test_headers_manifests_and_time_stamps_give_rates() -> None:
    assert of(rate_hz=500.0) == 500.0
    assert of(signal="intervals") is None
    assert of(time_s=TIMES) == 10.0
    assert of(time_s=TIMES, rate_hz=10.0) == 10.0
    assert of(time_s=TIMES * 10 / 3.21456) == 3.215
    assert of(time_s=TIMES[:1], rate_hz=7.0) == 7.0


def stated(manifest: float | None, signal: str = "emg") -> float | None:
    row = Row.model_construct(signal=signal, rate_hz=manifest)
    return rate_of(Recording(samples=np.zeros((1, 4)), rate_hz=100.0), row)


def test_the_manifest_may_repeat_what_a_header_says() -> None:
    assert stated(None) == 100.0
    assert stated(100.05) == 100.05
    with pytest.raises(CorpusError, match="header says 100 Hz and the manifest 101 Hz"):
        stated(101.0)
    with pytest.raises(CorpusError, match="intervals, which are events, got 100 Hz"):
        stated(None, signal="intervals")


@pytest.mark.parametrize(
    ("says", "given"),
    [
        ("got neither", {}),
        ("which are events", {"signal": "intervals", "time_s": TIMES}),
        ("two time stamps or more in time_s to give a rate, got 1", {"time_s": TIMES[:1]}),
        ("got a span of 3e-09 s", {"time_s": TIMES * 1e-8}),
        ("agree with rate_hz 11, got 10 Hz", {"time_s": TIMES, "rate_hz": 11.0}),
        ("finite time stamps, got nan", {"time_s": np.array([0, np.nan, 1, 2])}),
        ("rising time stamps", {"time_s": np.array([0, 0.2, 0.1, 0.3])}),
        ("from 0 s on", {"time_s": TIMES - 1}),
        ("time_s", {"time_s": np.array([0, 0.1, 0.2, 0.9])}),
    ],
)
def test_what_gives_no_rate_is_said(says: str, given: dict[str, Any]) -> None:
    with pytest.raises(CorpusError, match=says):
        of(**given)
