"""What is stored of a corpus comes back as it was, each stream in a place of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from harness.cache import CachedStream, Captures, one_kind, render
from harness.contracts import Capture, Sensed, Sitting
from harness.errors import ContractError, CorpusError


def sensed(samples: Any, attempt: Any = None, attacker: Any = None, **changes: Any) -> Sensed:
    rows = len(samples)
    return Sensed(
        capture=Capture(**{"samples": samples, "rate_hz": 1.0, "signal": "value", "unit": "1", **changes}),
        attempt=np.arange(rows) if attempt is None else np.array(attempt),
        attacker=np.full(rows, -1) if attacker is None else np.array(attacker),
    )


def stored(
    folder: Path, block: Mapping[str, Sensed], attempts: int = 2
) -> dict[tuple[int, str], CachedStream]:
    corpus: Any = SimpleNamespace(name="corpus", block=lambda sitting, streams: block)
    sitting = Sitting(subject=3, session=1, attempts=attempts, streams=frozenset(block))
    return dict(render(corpus, 0, sitting, sitting.streams, folder))


def test_nothing_is_rounded_and_nan_stays(tmp_path: Path) -> None:
    exact = np.array([[[1.5, np.nan]], [[-0.25, 3.0]]])
    fine = np.array([[[np.pi, np.nan]], [[0.1, 1e300]]]).clip(None, 1e30)
    found = stored(tmp_path, {"a:v": sensed(exact), "b:v": sensed(fine, seconds=np.array([1.0, 2.0]))})
    for name, samples in (("a:v", exact), ("b:v", fine)):
        back = found[0, name].load()
        assert back.samples.dtype == np.float64
        assert np.array_equal(back.samples, samples, equal_nan=True)
    some = found[0, "b:v"].load(np.array([1]))
    assert some.samples.tolist() == [[[0.1, 1e30]]]
    assert some.seconds is not None
    assert some.seconds.tolist() == [2.0]
    # half the bytes where single precision holds the values
    assert np.load(found[0, "a:v"].path).dtype == np.float32


@pytest.mark.parametrize(
    "names",
    [("other-site:emg", "other:site-emg"), ("camera:a/b", "camera:a-b"), ("x:../../up", "x:" + "y" * 400)],
)
def test_names_that_look_alike_or_like_paths_do_not_meet(tmp_path: Path, names: tuple[str, str]) -> None:
    found = stored(tmp_path, {n: sensed(np.full((2, 1, 3), float(i))) for i, n in enumerate(names)})
    for i, name in enumerate(names):
        assert (found[0, name].load().samples == i).all()
        assert found[0, name].path.parent == tmp_path


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"attempt": [0]}, "each of 2 rows must name its attempt"),
        ({"attacker": [0]}, "each of 2 rows must name its attempt"),
        ({"attempt": [0, 2]}, r"attempts must ascend within 0\.\.1, got 0\.\.2"),
        ({"attempt": [-1, 0]}, r"attempts must ascend within 0\.\.1"),
        ({"attempt": [1, 0]}, r"attempts must ascend within 0\.\.1"),
    ],
)
def test_rows_must_say_which_attempt_they_are_of(
    tmp_path: Path, options: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(CorpusError, match=f"corpus, subject 3, session 1, a:v: {sentence}"):
        stored(tmp_path, {"a:v": sensed(np.zeros((2, 1, 3)), **options)})


def test_infinite_samples_are_refused_with_their_place(tmp_path: Path) -> None:
    with pytest.raises(ContractError, match="corpus, subject 3, session 1, a:v: `samples`"):
        stored(tmp_path, {"a:v": sensed(np.full((2, 1, 3), np.inf))})


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"rate_hz": 500.0}, "one rate in all sessions, got 1 Hz, 500 Hz"),
        ({"rate_hz": None}, "one rate in all sessions, got 1 Hz, none"),
        ({"unit": "mV"}, "one unit in all sessions, got 1, mV"),
        ({"channels": 2}, "one number of channels in all sessions, got 1, 2"),
    ],
)
def test_a_stream_is_of_one_kind_in_all_sessions(
    tmp_path: Path, change: dict[str, Any], sentence: str
) -> None:
    one = stored(tmp_path, {"a:v": sensed(np.zeros((2, 1, 3)))})[0, "a:v"]
    one_kind(Captures([], {(0, "a:v"): one, (1, "a:v"): one}), "a:v")
    mixed = Captures([], {(0, "a:v"): one, (1, "a:v"): replace(one, **change)})
    one_kind(mixed, "b:v")
    with pytest.raises(CorpusError, match=f"a:v must have {sentence}"):
        one_kind(mixed, "a:v")
