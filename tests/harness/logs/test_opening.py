"""Parameters of a log that cannot be are named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixtures.controls import SignCommitment
from harness.errors import CorpusError, UsageError
from harness.logs.opening import is_log, open_log


@pytest.fixture
def log(tmp_path: Path) -> Path:
    bits = np.eye(4, dtype=np.uint8)
    path = tmp_path / "trial.npz"
    np.savez(path, subject=[1, 1, 2, 2], key_a=bits, key_b=bits)
    return path


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"data": "made-up"}, "recorded or simulated, got 'made-up'"),
        ({"alphabet": 1}, "2 to 256, got 1"),
        ({"alphabet": "two"}, "2 to 256, got 'two'"),
        ({"one_way": "yes"}, "True or False, got 'yes'"),
    ],
)
def test_a_parameter_that_cannot_be_is_refused(log: Path, given: dict[str, Any], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        open_log(log, **given)


def test_a_scheme_must_make_keys_of_the_length_in_the_log(log: Path) -> None:
    with pytest.raises(CorpusError, match="keys of 12 bits as sign-commitment makes them, got 4"):
        open_log(log, scheme=SignCommitment())


@pytest.mark.parametrize(
    ("spec", "log"),
    [
        (Path("a/b.csv"), True),
        (Path("a/b.py"), False),
        ("b.npz", True),
        ("b.npz:data=simulated", True),
        ("b.py:Mine", False),
        (3, False),
    ],
)
def test_logs_are_known_by_their_names(spec: Any, log: bool) -> None:
    assert is_log(spec) is log
