"""Words and numbers that a value cannot have are refused where it is made."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from harness.claims.wording import percent
from harness.extraction_kind import extraction_kind, worth
from harness.potential import band, rating
from harness.rows import Finding, PerSubject
from harness.verdicts import Verdict

STEPS = {
    "elapsed_time": "1-week",
    "expertise": "proficient",
    "knowledge": "public",
    "window": "easy",
    "equipment": "specialised",
}


def test_ratings_need_a_reason_and_steps_that_exist() -> None:
    assert rating(**STEPS, rationale="practised")[1] == "basic"
    with pytest.raises(ValueError, match="must say why"):
        rating(**STEPS, rationale="  ")
    with pytest.raises(ValueError, match="expertise"):
        rating(**{**STEPS, "expertise": "genius"}, rationale="practised")
    with pytest.raises(ValueError, match="at least 0, got -1"):
        band(-1)


@pytest.mark.parametrize(
    ("kind", "says"),
    [
        ("identity", "hashes nothing"),
        ("hkdf", "computational"),
        ("fold", "which 'fold' is not known to be"),
        (None, "does not state its extraction"),
    ],
)
def test_only_universal_hashing_has_a_leftover_hash_bound(kind: str | None, says: str) -> None:
    assert says in worth(kind, 128)
    assert "universal hashing only" in worth(kind, 128)


@pytest.mark.parametrize(
    ("stated", "kind"),
    [
        ("hkdf", "hkdf"),
        (SimpleNamespace(kind="toeplitz"), "toeplitz"),
        ("", None),
        ("a\n", None),
        (3, None),
    ],
)
def test_extractions_are_words_or_have_one(stated: Any, kind: str | None) -> None:
    assert extraction_kind(SimpleNamespace(extraction=stated)) == kind


def test_a_confidence_is_never_rounded_up_to_certainty() -> None:
    assert percent(math.nextafter(1.0, 0.0)) != "100 %"
    assert percent(0.9999999999) == "99.99999999 %"


def test_records_refuse_what_they_cannot_hold() -> None:
    with pytest.raises(ValueError, match="note, low, medium, high, critical, got 'grave'"):
        Finding(id="x", severity="grave", scheme="s", attack=None, text="")
    with pytest.raises(ValueError, match="must be finite, got inf"):
        PerSubject(scheme="s", attack=None, measure="m", budget=None, subject=1, value=math.inf, attempts=1)
    with pytest.raises(ValueError, match="pass, fail or undecided, got 'unresolved'"):
        Verdict(
            outcome="unresolved", comparisons=(), notices=(), level=0.05, candidate="a", held_against="b"
        )
