"""The simulated bodies against real recordings of one person each, in the same measures.

A recorded value is asked to be one that a person more among the simulated ones could have had: inside the
95 % prediction interval of their spread. Where it is not, the test says so and holds what was seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
from scipy import stats

from fixtures.bodies import gesture
from fixtures.bodies.acting import drawn_person
from fixtures.bodies.muscle import FAR_MM, Electrode, poles_of, potentials
from fixtures.bodies.volleys import fire, record
from fixtures.bodies.walking import Walk
from fixtures.recordings import HUBS_FILE, HUBS_RATE_HZ, PLATEAU_S, differential_grid, hub_millivolts
from fixtures.rendering import Rendering
from fixtures.scenario import CargoBike
from harness.contracts import Array

PACKAGES = Path(__file__).parents[2] / "build" / "recordings" / "packages"
WALK_FILE = "S06R02E0.csv"  # aeon 1.6.0: ankle, thigh, trunk, three axes each, mg
WALK_HZ, WALKING_S = 64.0, (25.0, 105.0)

pytestmark = [
    pytest.mark.recordings,
    pytest.mark.skipif(
        not PACKAGES.is_dir(),
        reason="the packages that carry the recordings are not there; run `make recordings`",
    ),
]


def distances(simulated: Sequence[Array | list[float]], real: Array | list[float]) -> Array:
    """How far each real value lies from the mean person, 1 being the edge of the prediction interval."""
    people = np.array(simulated)
    n = len(people)
    edge = stats.t.ppf(0.975, n - 1) * people.std(axis=0, ddof=1) * np.sqrt(1 + 1 / n)
    return np.asarray((np.array(real) - people.mean(axis=0)) / edge)


def smoothed(samples: Array, rate_hz: float, cutoff_hz: float) -> Array:
    sections = scipy.signal.butter(2, cutoff_hz, fs=rate_hz, output="sos")
    return np.asarray(scipy.signal.sosfiltfilt(sections, np.abs(samples)))


def muscle_band(samples: Array, rate_hz: float) -> Array:
    sections = scipy.signal.butter(4, [20, 450], "bandpass", fs=rate_hz, output="sos")
    return np.asarray(scipy.signal.sosfiltfilt(sections, samples))


RAW_MM, ENVELOPE_MM = (8.0, 16.0, 24.0), (8.0, 16.0, 24.0, 40.0, 65.0)


def falling(samples: Array, rate_hz: float, positions_mm: Array) -> list[float]:
    """Median correlation over all pairs by distance: raw signals, then 3 Hz envelopes."""
    band = muscle_band(samples, rate_hz)
    first, second = np.array(list(combinations(range(len(band)), 2))).T
    apart = np.hypot(*(positions_mm[first] - positions_mm[second]).T)
    found = []
    for traces, wanted in ((band, RAW_MM), (smoothed(band, rate_hz, 3.0), ENVELOPE_MM)):
        table = np.corrcoef(traces)[first, second]
        found += [float(np.median(table[np.abs(apart - mm) <= 1])) for mm in wanted]
    return found


def held_force(subject: int, common_drive: float) -> list[float]:
    """The measures of `falling` on a simulated muscle under the same kind of grid, at a held force."""
    rate, seconds, pitch = 2000.0, 8.0, 8.0
    body = drawn_person(CargoBike(rate_hz=rate), (subject,)).muscle
    rng = np.random.default_rng(subject)
    steps = round(seconds / gesture.STEP)
    drive = 0.2 * body.pool.full_drive * np.ones((1, steps))
    drive *= 1 + common_drive * gesture.wavering(1, steps, corner_hz=3.0, rng=rng)
    samples = round(seconds * rate)
    volley = fire(body, drive, step=gesture.STEP, samples=samples, rate_hz=rate, rng=rng)
    poles = poles_of(body, rate_hz=rate)
    far = potentials(body, Electrode(x_mm=FAR_MM, spacing_mm=pitch), rate_hz=rate, poles=poles)
    places = [(pitch * (column - 2), pitch * row - 16) for column in range(5) for row in range(12)]
    traces = []
    for x, z in places:
        near = potentials(body, Electrode(x_mm=x, z_mm=z, spacing_mm=pitch), rate_hz=rate, poles=poles)
        trace = record(body, volley, near + body.common * far)[0]
        traces.append(trace + 3.0 * rng.standard_normal(samples))
    return falling(np.array(traces), rate, np.array(places))


@pytest.fixture(scope="module")
def plateau() -> list[float]:
    grid = differential_grid(PACKAGES)
    held = slice(*(round(limit * grid.rate_hz) for limit in PLATEAU_S))
    return falling(grid.samples[:, held], grid.rate_hz, grid.positions_mm)


def test_a_steady_muscle_agrees_along_a_grid_as_the_recorded_one_does(plateau: list[float]) -> None:
    # a steady force varies by some 4 % (Baweja et al. 2009)
    found = distances([held_force(subject, 0.04) for subject in range(8)], plateau)
    assert np.abs(found).max() < 1, found


def test_the_usual_common_drive_makes_envelopes_more_alike_than_the_recorded_ones(
    plateau: list[float],
) -> None:
    """Disagrees: a tenth of common drive is more than this person had at a held force.

    Raw signals agree as recorded all the same. Under a varying force, which the scenario has, the
    force profile outweighs this by far.
    """
    found = distances([held_force(subject, 0.1) for subject in range(8)], plateau)
    raw, envelope = found[: len(RAW_MM)], found[len(RAW_MM) :]
    assert np.abs(raw).max() < 1
    assert (envelope < 0).all()
    assert envelope.min() < -1


HUB_CUTOFFS = (1.0, 3.0, 10.0, 20.0)


def hub_agreement(one: Array, two: Array) -> list[float]:
    """Correlation of envelopes at each cutoff."""
    bands = [muscle_band(x, HUBS_RATE_HZ) for x in (one, two)]
    return [
        float(np.corrcoef(*(smoothed(band, HUBS_RATE_HZ, cutoff) for band in bands))[0, 1])
        for cutoff in HUB_CUTOFFS
    ]


def test_two_hubs_of_unlike_quality_agree_as_the_recorded_ones_do() -> None:
    (file,) = PACKAGES.rglob(HUBS_FILE)
    real = hub_agreement(
        hub_millivolts(file, "00:07:80:D8:A7:F9", "channel_6")[0],
        hub_millivolts(file, "00:07:80:D8:A8:82", "channel_5")[0],
    )
    # bursts; the second hub has 8 bits over 3 mV; where the hubs' electrodes sat is not told
    plan = CargoBike(
        attempts=1, seconds=30.0, condition="pattern", word_bits=8, full_scale=1500 / 2048,
        separation_mm=10.0, sideways_mm=10.0,
    )  # fmt: skip
    simulated = []
    for subject in range(8):
        render = Rendering(plan, subject, 0)
        pair = [render.stream(role, "emg").samples[0, 0] for role in ("device-a", "device-b")]
        simulated.append(hub_agreement(*pair))
    assert np.abs(distances(simulated, real)).max() < 1


SITES = ("ankle", "thigh", "trunk")
PAIRS = ((0, 1), (0, 2), (1, 2))


def site_agreement(magnitude: Array) -> Array:
    """(pairs, 3): correlation of magnitudes at lag 0 and at the best lag, and of their 3 Hz envelopes."""
    n, reach = magnitude.shape[1], round(0.25 * WALK_HZ)
    slow = smoothed(magnitude - magnitude.mean(axis=1, keepdims=True), WALK_HZ, 3.0)
    found = []
    for first, second in PAIRS:
        a, b = magnitude[first], magnitude[second]
        at = [
            np.corrcoef(a[max(0, -lag) : n - max(0, lag)], b[max(0, lag) : n - max(0, -lag)])[0, 1]
            for lag in range(-reach, reach + 1)
        ]
        found.append((at[reach], max(at), np.corrcoef(slow[first], slow[second])[0, 1]))
    return np.array(found)


def departures(axes: Array) -> tuple[Array, Array]:
    """Share of each site's magnitude that the mean stride explains, and agreement of what it leaves.

    Parameters
    ----------
    axes : float, shape (sites, 3, samples)
        g; the first axis of the ankle tells the phase of the stride.

    Returns
    -------
    (sites,), (pairs, 2)
        The latter at lag 0, as it is and below 5 Hz.
    """
    magnitude = np.linalg.norm(axes, axis=1)
    stride = scipy.signal.butter(2, [0.7, 1.25], "bandpass", fs=WALK_HZ, output="sos")
    swing = scipy.signal.hilbert(scipy.signal.sosfiltfilt(stride, axes[0, 0] - axes[0, 0].mean()))
    part = np.floor((np.angle(swing) / (2 * np.pi) % 1) * 32).astype(int)
    mean = np.stack([magnitude[:, part == k].mean(axis=1) for k in range(32)], axis=1)
    left = magnitude - mean[:, part]
    sections = scipy.signal.butter(2, 5.0, fs=WALK_HZ, output="sos")
    slow = scipy.signal.sosfiltfilt(sections, left)
    agreement = [[np.corrcoef(x[i], x[j])[0, 1] for x in (left, slow)] for i, j in PAIRS]
    return 1 - left.var(axis=1) / magnitude.var(axis=1), np.array(agreement)


@pytest.fixture(scope="module")
def walker() -> Array:
    """(sites, axes, samples) g of the recorded walker, walking."""
    files = list(PACKAGES.rglob(WALK_FILE))
    if not files:
        pytest.skip("aeon 1.6.0, which carries the walker, is not there")
    table = np.genfromtxt(files[0], delimiter=",", skip_header=1)[:, 1:10] / 1000
    walking = table[slice(*(round(limit * WALK_HZ) for limit in WALKING_S))]
    return np.stack([walking[:, 3 * site : 3 * site + 3].T for site in range(3)])


def simulated_walker(subject: int) -> Array:
    plan = CargoBike(attempts=1, walk_seconds=WALKING_S[1] - WALKING_S[0], walk_rate_hz=WALK_HZ)
    walk = Walk(plan, (subject,), (subject, 0))
    upright = np.array([0.0, 0.0, 1.0])[:, None]
    return np.stack([walk.moved(site)[0] + upright for site in SITES])


@pytest.fixture(scope="module")
def walkers() -> list[Array]:
    return [simulated_walker(subject) for subject in range(16)]


def test_sites_of_a_walking_body_agree_as_the_recorded_ones_do(walker: Array, walkers: list[Array]) -> None:
    """Sizes and shares were set after this very walker; agreement was looked at while that was done.

    Disagrees in one of nine: the slow envelopes of ankle and trunk agree less than recorded.
    """
    found = distances(
        [site_agreement(np.linalg.norm(person, axis=1)) for person in walkers],
        site_agreement(np.linalg.norm(walker, axis=1)),
    )
    envelope = found[1, 2]
    assert np.sort(np.abs(found).ravel())[-2] < 1, found
    assert 1 < envelope < 2


def test_sites_of_a_walking_body_move_as_much_as_the_recorded_ones(
    walker: Array, walkers: list[Array]
) -> None:
    sizes = [np.linalg.norm(person, axis=1).std(axis=1) for person in (*walkers, walker)]
    assert np.abs(distances(sizes[:-1], sizes[-1])).max() < 1


def test_what_departs_from_the_mean_stride_is_shared_as_recorded(
    walker: Array, walkers: list[Array]
) -> None:
    """The part that is new in every walk, from which keys are made; its agreement was set after nothing."""
    people, real = [departures(person) for person in walkers], departures(walker)
    explained = distances([share for share, _ in people], real[0])
    assert np.abs(explained).max() < 1, explained
    shared = distances([agreement for _, agreement in people], real[1])
    assert np.abs(shared).max() < 1, shared
