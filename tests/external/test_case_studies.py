"""Whole audits of the two real recordings; each is one person, so only what is there is judged."""

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
