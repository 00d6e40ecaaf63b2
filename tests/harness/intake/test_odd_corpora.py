"""Whatever the captures are, the check ends with a report or one sentence, and without a warning."""

from __future__ import annotations

import json
import tempfile
import warnings
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array
from harness.errors import CorpusError
from harness.intake import inspect
from harness.recordings import write_arrays, write_manifest
from reports.intake_text import intake_html, intake_text

SHAPES = ["noise", "constant", "zero", "spike", "huge", "tiny", "steps", "ramp"]


def made(kind: str, channels: int, length: int, seed: int) -> Array:
    rng = np.random.default_rng(seed)
    samples: Array = rng.normal(size=(channels, length))
    if kind == "constant":
        samples[:] = 7.0
    elif kind == "zero":
        samples[:] = 0.0
    elif kind == "spike":
        samples[:] = 0.0
        samples[:, length // 2] = 1e4
    elif kind == "huge":
        samples *= 1e300
    elif kind == "tiny":
        samples *= 1e-300
    elif kind == "steps":
        samples = np.round(samples)
    elif kind == "ramp":
        samples = np.tile(np.linspace(0, 1, length), (channels, 1))
    return samples


@st.composite
def corpora(draw: st.DrawFn) -> tuple[list[dict[str, object]], dict[str, Array]]:
    rate = draw(st.sampled_from([1e-3, 1.0, 64.0, 1000.0, 1e8]))
    signal, unit = draw(st.sampled_from([("emg", "uV"), ("sweat", "uS"), ("intervals", "s"), ("emg", "V")]))
    channels = draw(st.integers(1, 2))
    rows: list[dict[str, object]] = []
    arrays: dict[str, Array] = {}
    for k in range(draw(st.integers(1, 3))):
        for role in ("device-a", "device-b", *draw(st.lists(st.just("camera"), max_size=1))):
            name = f"{role}-{k}"
            length = draw(st.sampled_from([1, 2, 7, 31, 200, 3000]))
            arrays[name] = made(draw(st.sampled_from(SHAPES)), channels, length, draw(st.integers(0, 99)))
            rows.append(
                {
                    "file": "r.npz", "array": name, "subject": f"p{k % 2}", "session": k // 2, "attempt": k,
                    "role": role, "signal": signal, "unit": unit, "day": draw(st.sampled_from(["", "1"])),
                    "rate_hz": "" if signal == "intervals" else rate,
                }
            )  # fmt: skip
    return rows, arrays


@settings(max_examples=200, deadline=None)
@given(corpora())
def test_odd_corpora(corpus: tuple[list[dict[str, object]], dict[str, Array]]) -> None:
    rows, arrays = corpus
    with tempfile.TemporaryDirectory() as name, warnings.catch_warnings():
        warnings.simplefilter("error")
        folder = Path(name)
        write_arrays(folder / "r.npz", arrays)
        write_manifest(folder, rows)
        try:
            found = inspect(folder, synchronise=True)
        except CorpusError as error:
            sentence = str(error)
        else:
            sentence = ""
            json.loads(found.to_json())
            assert max(map(len, intake_text(found).splitlines())) <= 110
        assert "\n" not in sentence


@settings(max_examples=20, deadline=None)
@given(corpora())
def test_pages_of_odd_corpora(corpus: tuple[list[dict[str, object]], dict[str, Array]]) -> None:
    rows, arrays = corpus
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_arrays(folder / "r.npz", arrays)
        write_manifest(folder, rows)
        try:
            page = intake_html(inspect(folder, synchronise=True))
        except CorpusError:
            return
        assert page.rstrip().endswith("</html>")
