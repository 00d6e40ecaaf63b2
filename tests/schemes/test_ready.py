"""The complete schemes: every one resolves by its name, and honest devices agree on simulated people."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

import schemes.ready
from fixtures.scenario import CargoBike
from harness.contracts import Capture, Disclosed, Scheme
from harness.plugins import names, ours, resolve, summary_of

FILES = sorted(Path(schemes.ready.__file__).parent.glob("*.toml"))
ROLES = ("device-a", "device-b")


@pytest.fixture(scope="module")
def sensed() -> dict[tuple[str, str], Capture]:
    """Twelve people, three attempts each, by role and signal."""
    corpus = CargoBike(subjects=12, sessions=1, attempts=3, seed=3)
    signals = ("acceleration", "emg", "intervals")
    streams = frozenset(f"{role}:{signal}" for role in ROLES for signal in signals)
    blocks = [corpus.block(sitting, streams) for sitting in corpus.sittings()]
    found = {}
    for role in ROLES:
        for signal in signals:
            parts = [block[f"{role}:{signal}"].capture for block in blocks]
            found[role, signal] = Capture(
                samples=np.concatenate([part.samples for part in parts]),
                rate_hz=parts[0].rate_hz,
                signal=signal,
                unit=parts[0].unit,
            )
    return found


def test_every_file_is_registered_under_its_name() -> None:
    told = {tomllib.loads(path.read_text("utf-8"))["name"] for path in FILES}
    assert told == {path.stem for path in FILES}
    assert told == {n for n, entry in names("scheme").items() if entry.module == "schemes.ready"}
    assert len(told) >= 6
    assert all(ours("scheme", name) for name in told)


@pytest.mark.parametrize("name", [path.stem for path in FILES])
def test_honest_devices_agree_and_strangers_do_not(
    name: str, sensed: dict[tuple[str, str], Capture]
) -> None:
    plugin = resolve("scheme", name)
    made = plugin.value
    assert not plugin.foreign
    assert isinstance(made, Scheme)
    assert isinstance(made, Disclosed)
    assert summary_of(made).endswith(".")
    a, b = (made.witness(sensed[role, made.signal]) for role in ROLES)
    assert a.acquired.all()
    assert (made.sensing_seconds(sensed["device-a", made.signal]) <= 60).all()
    keys, helper = made.generate(a, rng=np.random.default_rng(0))
    again, accepted = made.reproduce(b, helper)
    agreed = accepted & (keys == again).all(axis=1)
    assert agreed.mean() > 0.3
    foreign = {key: np.roll(value, 3, axis=0) for key, value in helper.items()}
    got, taken = made.reproduce(b, foreign)
    stolen = taken & (np.roll(keys, 3, axis=0) == got).all(axis=1)
    assert stolen.mean() < 0.1


def test_parameters_may_follow_the_name() -> None:
    made = resolve("scheme", "level-golay:quantiser.window_s=0.1,sketch.blocks=4,key_bits=48").value
    assert (made.quantiser.window_s, made.key_bits) == (0.1, 48)
