"""What practice says of gestures and sensors, as sweeps over the simulated muscle.

No source is known for these sayings; each test asserts the shape of its sweep. Where the bodies disagree
with a saying, the test says so, and the assertion holds what was seen.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from fixtures.bodies.nuisance import artefact
from fixtures.rendering import Rendering
from fixtures.scenario import CargoBike
from harness.contracts import Array

RATE = 1000.0
PEOPLE: dict[str, Any] = {"subjects": 8, "sessions": 1, "attempts": 2, "seconds": 12.0}


def recorded(roles: tuple[str, ...], **changes: Any) -> list[Array]:
    """(subjects * attempts, samples) of each role."""
    plan = CargoBike(**(PEOPLE | changes))
    renders = [Rendering(plan, subject, 0) for subject in range(plan.subjects)]
    return [np.concatenate([r.stream(role, "emg").samples[:, 0] for r in renders]) for role in roles]


def cleaned(emg: Array) -> Array:
    """20–450 Hz, without the mains."""
    spectrum = np.fft.rfft(emg, axis=-1)
    f = np.fft.rfftfreq(emg.shape[-1], 1 / RATE)
    spectrum[..., (f < 20) | (f > 450) | (np.abs((f + 25) % 50 - 25) < 1)] = 0
    return np.asarray(np.fft.irfft(spectrum, emg.shape[-1], axis=-1))


def steps(emg: Array, window_s: float = 0.2) -> Array:
    """(attempts, windows - 1) from one window's log RMS to the next."""
    width = round(window_s * RATE)
    whole = emg.shape[1] // width * width
    power = (cleaned(emg)[:, :whole].reshape(len(emg), -1, width) ** 2).mean(axis=2)
    return np.asarray(np.diff(0.5 * np.log(power), axis=1))


def symbols(step: Array, level: float = 0.1) -> Array:
    """0 falling, 1 level, 2 rising."""
    return np.digitize(step, [-level, level])


def entropy(symbol: Array) -> float:
    """Shannon, bit a symbol, of single symbols."""
    share = np.bincount(symbol.ravel(), minlength=3) / symbol.size
    return float(-(share[share > 0] * np.log2(share[share > 0])).sum())


def shared(a: Array, b: Array) -> float:
    """Mutual information of single symbols, bit; biased up by 4 / (2 n ln 2), below 0.01 here."""
    joint = np.zeros((3, 3))
    np.add.at(joint, (a.ravel(), b.ravel()), 1.0)
    joint /= joint.sum()
    product = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    seen = joint > 0
    return float((joint[seen] * np.log2(joint[seen] / product[seen])).sum())


def correlation(a: Array, b: Array) -> float:
    return float(np.mean([np.corrcoef(x, y)[0, 1] for x, y in zip(steps(a), steps(b), strict=True)]))


def mismatch(a: Array, b: Array) -> float:
    """Share of windows in which one sensor sees the envelope rise and the other sees it fall."""
    return float(((steps(a) > 0) != (steps(b) > 0)).mean())


# 16 attempts of 59 steps under a rhythm of at most 2 Hz: at least 16 * 24 independent signs
CHANCE = 4 / np.sqrt(16 * 24)


@pytest.mark.parametrize("way", ["separation_mm", "sideways_mm"])
def test_up_to_4_cm_on_one_muscle_the_mismatch_is_low(way: str) -> None:
    found = []
    for mm in (10.0, 20.0, 40.0, 80.0):
        changes: dict[str, Any] = {"separation_mm": 0.0} | {way: mm}
        found.append(mismatch(*recorded(("device-a", "device-b"), **changes)))
    assert max(found[:3]) < 0.15
    # disagrees with "up to about": one drive serves the whole of our muscle, so that 8 cm still agree
    assert found[3] < 0.15


def test_a_clench_has_as_many_symbols_as_a_gesture_but_shares_fewer_of_them() -> None:
    """Disagrees in part: entropy alone says "as much", what both devices see of it does not."""
    own, both = {}, {}
    for condition in ("squeeze", "pattern", "grip"):
        a, b = (symbols(steps(x)) for x in recorded(("device-a", "device-b"), condition=condition))
        own[condition], both[condition] = entropy(a), shared(a, b)
    assert own["squeeze"] > 0.9 * own["grip"]
    # a held force wavers by itself: windows differ by chance at either electrode
    assert both["squeeze"] < 0.9 * both["grip"]
    assert both["squeeze"] < both["pattern"] < both["grip"]
    assert both["squeeze"] > 0.3


def heart_share(strong: float, noise_uv: float) -> float:
    """Share of an electrode's variance that repeats with the heartbeat, by averaging around the beats."""
    changes: dict[str, Any] = (
        {"condition": "rest"} if strong == 0 else {"rest": strong / 2, "strong": strong}
    )
    electronics: dict[str, Any] = {"amplifier_uv": (noise_uv, noise_uv), "mains_uv": (0.1, 0.1)}
    plan = CargoBike(**(PEOPLE | {"attempts": 3}), **electronics, **changes, artefact_uv=0.0)
    found = []
    for subject in range(plan.subjects):
        render = Rendering(plan, subject, 0)
        for trace, beats in zip(render.emg("device-a").samples[:, 0], render.own.beats, strict=True):
            at = np.rint(beats[(beats > 0.5) & (beats < 11.3)] * RATE).astype(int)
            cut = np.array([trace[i - 300 : i + 400] for i in at])
            noise = cut.var(axis=0, ddof=1).mean()
            found.append(max(cut.mean(axis=0).var() - noise / len(cut), 0) / cut.var())
    return float(np.median(found))


def test_without_a_gesture_mainly_the_heartbeat_is_left() -> None:
    # of what the body gives: an electrode without noise of its own
    found = [heart_share(strong, 0.1) for strong in (0.0, 0.04, 0.1, 0.3)]
    assert found[0] > 0.9
    assert found[0] > found[1] > found[2]
    assert max(found[2:]) < 0.05
    # disagrees at a limb with the quietest amplifier there is (1 uV): its noise is more than the heartbeat
    assert 0.1 < heart_share(0.0, 1.0) < 0.5


def test_most_movement_noise_lies_below_20_hertz() -> None:
    noise = artefact(200, 10_000, rate_hz=RATE, per_second=0.5, size_uv=50.0, rng=np.random.default_rng(0))
    power = (np.abs(np.fft.rfft(noise, axis=1)) ** 2).sum(axis=0)
    f = np.fft.rfftfreq(10_000, 1 / RATE)
    assert power[f < 15].sum() > 0.95 * power.sum()
    # and a high-pass there gives back the agreement that moving takes away
    loud: dict[str, Any] = {"artefact_uv": 400.0, "artefacts_per_s": 1.0}
    a, b = recorded(("device-a", "device-b"), **loud)
    unfiltered = np.diff(0.5 * np.log((np.stack([a, b]).reshape(2, len(a), -1, 200) ** 2).mean(axis=3)))
    raw = float(((unfiltered[0] > 0) != (unfiltered[1] > 0)).mean())
    assert mismatch(a, b) < raw - 0.05


def test_a_shorter_window_raises_the_raw_rate_and_lowers_what_a_smoothed_symbol_holds() -> None:
    total = np.cumsum(cleaned(recorded(("device-a",))[0]) ** 2, axis=1)
    level = 0.5 * np.log((total[:, 200:] - total[:, :-200]) / 200)  # a mean over 0.2 s at every sample
    found = [entropy(symbols(np.diff(level[:, ::width], axis=1))) for width in (1, 2, 5, 10, 20)]
    # every short piece of a smooth envelope looks level
    assert all(short < long for short, long in pairwise(found))
    assert found[0] < 0.1 < 1.0 < found[-1]


def test_without_smoothing_a_short_window_keeps_its_entropy_and_loses_what_is_shared() -> None:
    """Disagrees: the RMS of few samples is noisy, so that short pieces do not look level."""
    windows = (0.02, 0.05, 0.1, 0.2)
    pair = recorded(("device-a", "device-b"))
    read = [[symbols(steps(trace, window)) for trace in pair] for window in windows]
    each, both = [entropy(a) for a, _ in read], [shared(a, b) for a, b in read]
    assert min(each) > 1.0
    assert all(short < long for short, long in pairwise(both))
    assert both[0] < 0.3 * both[3]
    # what is shared in a second still rises with the rate, though ever less
    per_second = [bits / window for bits, window in zip(both, windows, strict=True)]
    assert per_second[0] > per_second[3]
    assert per_second[0] / per_second[3] < 0.3 * windows[3] / windows[0]


def test_another_body_parts_own_muscles_drown_the_signal() -> None:
    found = []
    for own in (0.0, 0.1, 0.3, 1.0):
        pair = recorded(("device-a", "other-site"), other_site="limb", other_activity=own)
        found.append(correlation(*pair))
    assert found[0] > found[1] > found[2]
    assert abs(found[3]) < CHANCE
    # disagrees where that part is idle: joining in with a twentieth of the effort is enough to be read
    assert found[0] > 0.4
    idle = correlation(*recorded(("device-a", "other-site"), other_site="limb", overflow=0.0))
    assert abs(idle) < CHANCE
