"""Whole audits of the real recordings; each is one person, so only what is there is judged."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness import audit
from harness.results import Audit

CORPORA = Path(__file__).parents[2] / "build" / "recordings" / "corpora"

pytestmark = [
    pytest.mark.recordings,
    pytest.mark.skipif(not CORPORA.is_dir(), reason="`make recordings` fetches and converts them"),
]


def judged(result: Audit) -> dict[str | None, str]:
    return {
        row.attack: row.status for row in result.select(measure="success-odds") if row.budget in (1, None)
    }


def test_electrode_grid_puts_a_far_electrode_against_two_neighbours() -> None:
    result = audit("envelope-trend:blocks=1,key_bits=12", corpus=CORPORA / "electrode-grid")
    status = judged(result)
    assert status["body-site"] == "measured"
    assert {status[a] for a in ("mimicry", "distant-sensor", "replay", "population", "helper-leak")} == {
        "untested"
    }
    assert result.corpus["data"] == "recorded"
    assert result.corpus["subjects"] == 1
    assert any(f.id == "one-person" for f in result.findings)
    (mismatch,) = result.select(measure="bit-mismatch")
    assert mismatch.value is not None
    # neighbours on held force agree better than strangers would, and far worse than the code corrects
    assert 3 / 24 < mismatch.value < 0.5
    assert mismatch.low is None  # one person has no interval over people


def test_two_hubs_face_the_recording_of_another_day() -> None:
    result = audit("envelope-trend:blocks=2,key_bits=24", corpus=CORPORA / "two-hubs")
    status = judged(result)
    assert status["replay"] == "measured"
    assert {status[a] for a in ("mimicry", "distant-sensor", "body-site", "population")} == {"untested"}
    (odds,) = result.select(attack="replay", measure="success-odds", budget=1)
    assert odds.high is not None
    assert odds.high > 0.5  # five attempts of one person rule nothing out


INTERVAL_TREND_BITS = 24  # one Golay block, which corrects 3


@pytest.mark.parametrize("corpus", ["two-wavelengths", "two-wavelengths-head"])
@pytest.mark.parametrize(
    "scheme", ["interval-trend", "interval-gray:kept=[1,2,3,4],code=golay-24-12,blocks=4,key_bits=48"]
)
def test_two_wavelengths_of_a_pulse_face_the_piece_before(corpus: str, scheme: str) -> None:
    if not (CORPORA / corpus).is_dir():
        pytest.skip("the pulses are not there; run `make recordings`")
    result = audit(scheme, corpus=CORPORA / corpus)
    status = judged(result)
    assert status["replay"] == "measured"
    assert {status[a] for a in ("camera", "partner-touch", "body-site", "population") if a in status} == {
        "untested"
    }
    assert any(f.id == "one-person" for f in result.findings)
    (mismatch,) = result.select(attack=None, measure="bit-mismatch")
    assert mismatch.value is not None
    assert 0 < mismatch.value < 3 / INTERVAL_TREND_BITS  # less than the code corrects
    assert mismatch.low is None
    (agreement,) = result.select(attack=None, measure="key-agreement")
    assert agreement.value is not None
    assert agreement.value > 0.5
    (lost,) = result.select(attack=None, measure="failure-to-acquire")
    assert lost.value == 0
    (odds,) = result.select(attack="replay", measure="success-odds", budget=1)
    assert odds.attempts == agreement.attempts - 1  # nothing comes before the first piece
    assert odds.side == "attacker-at-least"
    assert odds.high is not None
    assert odds.high > 0.5


def test_finest_bits_of_the_intervals_cost_the_agreement() -> None:
    """What keeps the two channels together is leaving out the bits that noise decides."""
    if not (CORPORA / "two-wavelengths").is_dir():
        pytest.skip("the pulses are not there; run `make recordings`")
    found = []
    for bit in (0, 4):
        result = audit(
            f"interval-gray:kept={bit},code=golay-24-12,key_bits=12", corpus=CORPORA / "two-wavelengths"
        )
        (mismatch,) = result.select(attack=None, measure="bit-mismatch")
        found.append(mismatch.value)
    assert found[0] is not None
    assert found[1] is not None
    assert found[0] > 3 / 24 > found[1]


def test_the_walk_puts_the_trunk_against_ankle_and_thigh() -> None:
    """Ten seconds hold seven of the longest cycles: 28 bits, of which 24 are kept."""
    if not (CORPORA / "walk").is_dir():
        pytest.skip("aeon 1.6.0, which carries the walker, is not there")
    result = audit(
        "gait-deviation:key_bits=12,assistance.features=28,sketch.code=golay-24-12",
        corpus=CORPORA / "walk",
    )
    status = judged(result)
    assert status["body-site"] == "measured"
    assert {status[a] for a in ("mimicry", "replay", "population", "camera")} == {"untested"}
    assert any(f.id == "one-person" for f in result.findings)
    (lost,) = result.select(attack=None, measure="failure-to-acquire")
    assert lost.value == 0
    (mismatch,) = result.select(attack=None, measure="bit-mismatch")
    assert mismatch.value is not None
    # two places of one body agree better than strangers would, and far worse than the code corrects
    assert 3 / 24 < mismatch.value < 0.5
    (odds,) = result.select(attack="body-site", measure="success-odds", budget=1)
    assert (odds.attempts, odds.side) == (9, "attacker-at-least")
    assert odds.high is not None
    assert odds.high > 0.5


def test_the_gait_scheme_as_it_ships_needs_longer_attempts_than_the_walk_has() -> None:
    if not (CORPORA / "walk").is_dir():
        pytest.skip("aeon 1.6.0, which carries the walker, is not there")
    result = audit("gait-deviation", corpus=CORPORA / "walk")
    (lost,) = result.select(attack=None, measure="failure-to-acquire")
    assert lost.value == 1
