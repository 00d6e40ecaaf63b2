"""Digests tell a replay from a lookalike."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from harness import audit
from harness.digests import file_digest, plugin_digest, scores_digest
from harness.ranking import Ranks
from harness.score import Scores
from schemes.interval_gray import IntervalGray

SIZE = {"subjects": 3, "sessions": 1, "attempts": 2, "attacks": "population"}


def scores(place: float) -> Scores:
    one = np.array([place])
    ranks = Ranks(fewer_low=one, fewer_high=one, upto_low=one + 1, upto_high=one + 1, surprise=one)
    return Scores(
        attempt=np.zeros(1, int), attacker=-np.ones(1, int), ranks=ranks, method="guess-list", gain=None
    )


def test_a_name_changes_nothing_and_a_parameter_does() -> None:
    plain = plugin_digest(IntervalGray())
    assert plain == plugin_digest(replace(IntervalGray(), name="another"))
    bits = IntervalGray().key_bits
    assert plain != plugin_digest(replace(IntervalGray(), key_bits=bits - 8))


def test_a_strangers_file_is_known_by_its_bytes_and_parameters(tmp_path: Path) -> None:
    path = tmp_path / "attack.py"
    path.write_text("a = 1\n", "utf-8")
    before = file_digest(f"{path}:Name")
    assert before == file_digest(f"{path}:Name")
    assert before != file_digest(f"{path}:Name:bits=3")
    path.write_text("a = 2\n", "utf-8")
    assert before != file_digest(f"{path}:Name")
    assert file_digest("registered-name") is None


def test_scores_differ_by_their_ranks() -> None:
    assert scores_digest(scores(3.0)) == scores_digest(scores(3.0))
    assert scores_digest(scores(3.0)) != scores_digest(scores(np.nextafter(3.0, 4.0)))


@pytest.fixture(scope="module")
def outcomes() -> list[dict[str, str]]:
    found = audit([IntervalGray(), replace(IntervalGray(), name="renamed")], **SIZE)
    other = audit(IntervalGray(), seed=1, **SIZE)
    return [dict(s["outcomes"]) for s in (*found.schemes, *other.schemes)]


def test_a_renamed_scheme_does_the_same_and_other_people_do_not(outcomes: list[dict[str, str]]) -> None:
    own, renamed, others = outcomes
    assert set(own) == {"", "population"}
    assert own == renamed
    assert all(own[name] != others[name] for name in own)
