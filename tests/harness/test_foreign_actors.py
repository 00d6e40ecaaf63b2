"""A stranger who writes to a sensor or asks a device is run as our own are, from its own process."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixtures.active_controls import OneWay
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B
from harness.isolation import meet
from harness.plugins import load

SHORT = SignCommitment(code="hamming-7-4")
PAIR = Channel(subjects=2, attempts=3, errors=((DEVICE_B, 0.02), ("remote", 0.1)))


@pytest.mark.parametrize(
    ("name", "stranger"),
    [
        ("helper-tamper", "Tampers"),
        pytest.param("injection", "Injects", marks=pytest.mark.slow),
        pytest.param("denial", "Denies", marks=pytest.mark.slow),
    ],
)
def test_a_copy_of_our_own_in_another_process_gets_the_same_to_the_last_digit(
    plugins: Path, name: str, stranger: str
) -> None:
    people = OneWay(subjects=2, attempts=2) if name == "helper-tamper" else PAIR
    ours = audit(SHORT, attacks=getattr(load(plugins / "actors.py"), stranger)(), corpus=people)
    theirs = audit(SHORT, attacks=f"{plugins / 'actors.py'}:{stranger}", corpus=people)
    assert (ours.attacks[0]["isolated"], theirs.attacks[0]["isolated"]) == (False, True)
    assert theirs.rows == ours.rows
    assert theirs.select(attack=name, measure="success-odds", budget=1)[0].status == "measured"


def test_a_stranger_says_what_strengths_it_has(plugins: Path) -> None:
    met = meet(f"{plugins / 'actors.py'}:Injects")
    assert met.interferes
    assert met.strength is not None
    (other,) = met.variants()
    assert other.strength is not None
    assert other.strength[0] != met.strength[0]


def test_a_device_refuses_nonsense_and_stops_after_its_limit_over_a_pipe_too(plugins: Path) -> None:
    result = audit(SHORT, attacks=f"{plugins / 'actors.py'}:Pesters", corpus=PAIR)
    (row,) = result.select(attack="pesters", measure="success-odds")
    assert row.status == "failed"
    assert "nonsense refused: 2 of 2; answers: 1000" in str(row.reason)


def test_who_sees_no_device_is_given_none(plugins: Path) -> None:
    result = audit(SHORT, attacks=f"{plugins / 'actors.py'}:Listens", corpus=PAIR)
    assert result.select(attack="listens", measure="success-odds", budget=1)[0].status == "measured"


@pytest.mark.parametrize(
    ("name", "promise"),
    [
        ("WritesElsewhere", "got 'elsewhere'"),
        ("WritesTooLittle", "samples of shape"),
        ("NotesNothing", "a mapping of notes, got int"),
    ],
)
def test_what_cannot_be_added_is_refused(plugins: Path, name: str, promise: str) -> None:
    result = audit(SHORT, attacks=f"{plugins / 'actors.py'}:{name}", corpus=PAIR)
    row = result.select(measure="success-odds")[-1]
    assert row.status == "failed"
    assert promise in str(row.reason)
