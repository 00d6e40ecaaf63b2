"""A stratum of a corpus is a corpus of the same people."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from recorded_bodies import write_people

from harness import audit
from harness.errors import UsageError
from harness.recordings import open_corpus


def test_numbers_of_people_and_sessions_stay(park: Any) -> None:
    for row in park.rows:
        row["condition"] = "dry" if row["session"] == "pm" or row["attempt"] == "2" else "wet"
    whole, dry = open_corpus(park.write()), open_corpus(park.folder, only={"condition": "dry"})
    dry.check()
    assert [(s.subject, s.session, s.attempts) for s in dry.sittings()] == [(0, 0, 1), (0, 1, 1)]
    stream = frozenset({"device-a:emg"})
    one = dry.block(dry.sittings()[0], stream)["device-a:emg"]
    two = whole.block(whole.sittings()[0], stream)["device-a:emg"]
    assert one.attempt.tolist() == [0]
    np.testing.assert_array_equal(one.capture.samples[0], two.capture.samples[1])
    assert dry.describe()["only"] == {"condition": "dry"}
    assert dry.describe()["attempts"] == 2
    assert (
        len({whole.digest(), dry.digest(), open_corpus(park.folder, only={"condition": "wet"}).digest()})
        == 3
    )


def test_several_columns_must_all_hold(tmp_path: Path) -> None:
    folder = write_people(tmp_path, subjects=2, attempts=1, seconds=2)
    found = open_corpus(folder, only={"day": "2", "condition": "dry"})
    assert [(s.subject, s.session) for s in found.sittings()] == [(0, 1), (1, 1)]


def test_an_audit_on_one_day_alone(tmp_path: Path) -> None:
    folder = write_people(tmp_path, subjects=3, attempts=1)
    found = audit(
        "envelope-trend:window_s=0.2,blocks=1,key_bits=12", attacks="population",
        corpus=open_corpus(folder, only={"day": "1"}),
    )  # fmt: skip
    assert found.corpus["sessions"] == 3
    assert found.corpus["description"]["only"] == {"day": "1"}


@pytest.mark.parametrize(
    ("only", "says"),
    [({"condition": "wet"}, "with condition 'wet', got dry"), ({"role": "mimic"}, "by day, device")],
)
def test_what_is_not_there(tmp_path: Path, only: dict[str, str], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        open_corpus(write_people(tmp_path, subjects=1, sessions=1, attempts=1, seconds=2), only=only)
