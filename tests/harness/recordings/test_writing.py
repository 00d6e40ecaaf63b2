"""What is written comes back equal."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.contracts import Capture, Sensed, Sitting
from harness.errors import CorpusError
from harness.recordings import open_corpus, write_corpus


class Few:
    """Two riders, one or two sittings; rows of unequal length, two attackers, an event series."""

    name, data = "few", "simulated"

    def __init__(self, *, gap: bool = False) -> None:
        self.gap = gap

    def sittings(self) -> Sequence[Sitting]:
        streams = frozenset({"device-a:emg", "device-b:emg", "mimic:emg", "device-a:intervals"})
        return [
            Sitting(subject=p, session=s, attempts=3, streams=streams) for p, s in ((0, 0), (0, 1), (1, 0))
        ]

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        return {stream: self._sensed(sitting, stream) for stream in sorted(streams)}

    def _sensed(self, sitting: Sitting, stream: str) -> Sensed:
        rng = np.random.default_rng([sitting.subject, sitting.session, len(stream)])
        attempts = [0, 0, 0, 2] if stream == "mimic:emg" else [0, 1, 2]
        attackers = [1, 2, 2, -1] if stream == "mimic:emg" else [-1] * 3
        samples = rng.normal(size=(len(attempts), 2, 30))
        samples[1, :, 20:] = np.nan
        if self.gap:
            samples[0, 1, 4] = np.nan
        events = stream.endswith("intervals")
        if events:
            samples = 0.5 + np.abs(samples)
        return Sensed(
            capture=Capture(
                samples=samples,
                rate_hz=None if events else 1000 / 3,
                signal=stream.partition(":")[2],
                unit="s" if events else "uV",
            ),
            attempt=np.array(attempts),
            attacker=np.array(attackers),
        )

    def describe(self) -> Mapping[str, Any]:
        return {}

    def digest(self) -> str:
        return ""


def test_round_trip(tmp_path: Path) -> None:
    few = Few()
    write_corpus(tmp_path / "few", few, condition="made up")
    corpus = open_corpus(tmp_path / "few")
    corpus.check()
    assert list(corpus.sittings()) == list(few.sittings())
    for sitting in few.sittings():
        wanted, got = few.block(sitting, sitting.streams), corpus.block(sitting, sitting.streams)
        assert set(got) == set(wanted)
        for stream, sensed in wanted.items():
            np.testing.assert_array_equal(got[stream].capture.samples, sensed.capture.samples)
            np.testing.assert_array_equal(got[stream].attempt, sensed.attempt)
            np.testing.assert_array_equal(got[stream].attacker, sensed.attacker)
            assert got[stream].capture.rate_hz == sensed.capture.rate_hz
            assert got[stream].capture.unit == sensed.capture.unit
    assert corpus.describe()["conditions"] == ["made up"]


def test_the_same_captures_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_corpus(tmp_path / name, Few())
    assert open_corpus(tmp_path / "one").digest() == open_corpus(tmp_path / "two").digest()


def test_a_gap_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(CorpusError, match="attempt 0 must be finite up to the padding"):
        write_corpus(tmp_path / "few", Few(gap=True))


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "few").mkdir()
    (tmp_path / "few" / "notes.txt").touch()
    with pytest.raises(CorpusError, match="few must be an empty folder"):
        write_corpus(tmp_path / "few", Few())
