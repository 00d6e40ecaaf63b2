"""Planted copies are found, and nothing else is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recorded_bodies import RATE, pair, taken

from harness.intake.alike import Alike, Fingerprints
from harness.intake.taken import Taken


def found(captures: list[Taken]) -> list[Alike]:
    prints = Fingerprints()
    for capture in captures:
        prints.see(capture)
    return prints.found()


def crowd(count: int = 40, seconds: float = 6) -> list[Taken]:
    return [
        taken(pair(seconds, 500 + k)[0], subject=k // 4, session=k // 2 % 2, attempt=k % 2)
        for k in range(count)
    ]


def test_people_who_are_different_are_not_alike() -> None:
    assert found(crowd()) == []


@pytest.mark.parametrize(("source", "between"), [(39, "subjects"), (2, "sessions"), (1, "attempts")])
def test_a_copy_is_the_same_wherever_it_lies(source: int, between: str) -> None:
    captures = crowd()
    captures[source] = replace(captures[source], samples=captures[0].samples.copy())
    (one,) = found(captures)
    assert (one.kind, one.between, one.p_value) == ("same samples", between, None)
    assert one.first.endswith(captures[0].place)
    assert one.second.endswith(captures[source].place)


@pytest.mark.parametrize("disguise", ["louder", "noisier", "later", "upside down", "rounded", "shorter"])
def test_a_copy_in_disguise_is_nearly_the_same(disguise: str) -> None:
    captures = crowd()
    samples = captures[0].samples
    rng = np.random.default_rng(9)
    changed = {
        "louder": samples * 3.7 + 20,
        "noisier": samples + rng.normal(scale=5, size=samples.shape),
        "later": np.roll(samples, 20, axis=1),
        "upside down": -samples,
        "rounded": np.round(samples / 8) * 8,
        "shorter": samples[:, :5500],
    }[disguise]
    captures[20] = replace(captures[20], samples=changed)
    (one,) = found(captures)
    assert (one.kind, one.between) == ("nearly the same", "subjects")
    assert one.correlation >= 0.98
    assert one.p_value is not None
    assert one.p_value < 0.01


def test_a_common_cue_is_not_a_common_recording() -> None:
    """Everybody squeezes on the same beat: envelopes agree, wave forms do not."""
    beat = np.repeat([1.0, 60, 1, 80, 1, 50, 1, 90, 1, 70], 600)
    rng = np.random.default_rng(3)
    captures = [taken(beat * rng.normal(size=len(beat)), subject=k) for k in range(10)]
    assert {one.kind for one in found(captures)} <= {"same envelope only"}


def test_the_two_devices_must_not_hold_one_recording() -> None:
    a, _ = pair(6, 1)
    (one,) = found([taken(a), taken(a, "device-b")])
    assert (one.kind, one.between) == ("same samples", "roles")


def test_an_adversary_may_repeat_but_not_hold_the_owners_samples() -> None:
    a, b = pair(6, 1)
    video = pair(6, 2)[0]
    captures = [taken(video, "camera", attempt=k) for k in range(3)]
    assert found(captures) == []
    (one,) = found([taken(a), taken(b, "device-b"), taken(a, "remote")])
    assert one.between == "roles"
    assert one.second.startswith("remote")


def test_dead_sensors_are_not_copies_of_each_other() -> None:
    assert found([taken(np.zeros(5000), subject=k) for k in range(3)]) == []


def test_event_series_are_compared_too() -> None:
    rng = np.random.default_rng(0)
    beats = [0.8 + 0.05 * rng.normal(size=60) for _ in range(8)]
    beats[5] = beats[2] + 0.001 * rng.normal(size=60)
    captures = [
        taken(b, subject=k, signal="intervals", unit="s", rate_hz=None) for k, b in enumerate(beats)
    ]
    (one,) = found(captures)
    assert one.kind == "nearly the same"
    assert {one.first[-32:], one.second[-32:]} == {captures[k].place[-32:] for k in (2, 5)} or one.between


def test_too_short_captures_are_counted_as_not_compared() -> None:
    prints = Fingerprints()
    for k in range(3):
        prints.see(taken(np.random.default_rng(k).normal(size=int(0.5 * RATE)), subject=k))
    assert prints.found() == []
    assert (prints.left_out, prints.pairs) == (3, 0)
