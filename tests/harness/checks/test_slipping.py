"""What slips past a quick look is caught, and by the check whose promise it breaks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from contract_breakers import slipping
from contract_breakers.sound_schemes import SYMBOLS

from fixtures.controls import Channel
from harness import check_scheme
from harness.checks import checks_of
from harness.checks.outcomes import Outcome
from harness.checks.scheme_case import SchemeCase
from harness.checks.wrong_symbols import with_errors
from harness.contracts import DEVICE_B


def one(scheme: Any, people: Channel, check: str) -> Outcome:
    return check_scheme(scheme, corpus=people, only=[check])[0]


def left_in(place: Path, people: Channel) -> Outcome:
    scheme = slipping.KeyInAFile()
    scheme.place = str(place)
    return one(scheme, people, "files-untouched")


@pytest.mark.parametrize("folder", ["keyassay-check-1", "__pycache__", "plain"])
def test_a_key_in_a_file_is_found_whatever_its_folder_is_called(
    folder: str, few: Channel, tmp_path: Path
) -> None:
    assert left_in(tmp_path / folder, few).status == "broken"


@pytest.mark.skipif(not Path("/dev/shm").is_dir(), reason="there is no memory that files can be kept in")
def test_a_key_in_memory_is_found(few: Channel) -> None:
    try:
        found = one(slipping.KeyInMemory(), few, "files-untouched")
    finally:
        Path("/dev/shm/key.npy").unlink(missing_ok=True)
    assert found.status == "broken"
    assert "'key.npy' made" in found.sentence


@pytest.mark.parametrize("kind", [slipping.StartsAProgram, slipping.RunsAShell])
def test_a_program_is_started_openly_or_not_at_all(kind: Any, few: Channel) -> None:
    found = one(kind(), few, "files-untouched")
    assert found.status == "broken"
    assert found.got == "true"
    scheme = kind()
    scheme.whole_batches = True
    assert one(scheme, few, "files-untouched").status == "held"


TIDY = ["random-state-untouched", "environment-untouched", "files-untouched"]


def broken(scheme: Any, people: Channel, *only: str) -> list[str]:
    return [o.check for o in check_scheme(scheme, corpus=people, only=only) if o.status == "broken"]


@pytest.mark.parametrize("check", TIDY)
def test_members_that_no_other_check_has_called_are_called_for_tidiness(check: str, few: Channel) -> None:
    found = one(slipping.TidiesNothing(), few, check)
    assert found.status == "broken"
    assert found.where is not None
    assert found.where.member == "linear()"


def test_members_that_are_only_read_are_watched(few: Channel) -> None:
    assert broken(slipping.LabelsStirCoins(), few, *TIDY) == TIDY[:1]


@pytest.mark.parametrize(("kind"), ["scheme", "attack"])
def test_tidiness_is_judged_last(kind: str) -> None:
    assert [check.name for check in checks_of(kind)][-4:] == ["inputs-untouched", *TIDY]


WRITING = [
    (
        slipping.LinearWrites,
        "linear()",
        ["disclosure-well-formed", "disclosure-true", "corrects-as-stated"],
    ),
    (slipping.FinishWrites, "finish()", ["disclosure-well-formed", "disclosure-true"]),
    (slipping.ConfirmWrites, "confirm()", ["check-values-true"]),
    (slipping.AssistedWrites, "assisted()", ["help-keeps-the-witness"]),
    (slipping.SharpenWrites, "sharpen()", ["sharper-beliefs-normalised"]),
    (slipping.ListedWrites, "listed()", ["list-true"]),
]


@pytest.mark.parametrize(("kind", "member", "others"), WRITING)
def test_who_writes_to_what_is_handed_over_breaks_that_promise_alone(
    kind: Any, member: str, others: list[str], few: Channel
) -> None:
    outcomes = check_scheme(kind(), corpus=few, only=["inputs-untouched", *others])
    found = [o for o in outcomes if o.status != "held"]
    assert [(o.check, o.status) for o in found] == [("inputs-untouched", "broken")]
    assert found[0].where is not None
    assert found[0].where.member == member


def test_errors_are_in_the_features_as_well(few: Channel) -> None:
    found = one(slipping.FeaturesTellAll(), few, "corrects-as-stated")
    assert found.status == "broken"
    assert f"with {SYMBOLS} errors" in found.sentence


def test_where_nobody_has_features_for_so_many_errors_it_is_said() -> None:
    alone = Channel(subjects=1, sessions=1, attempts=1, errors=((DEVICE_B, 0.0),))
    found = one(slipping.FeaturesTellAll(), alone, "corrects-as-stated")
    assert found.status == "not-applicable"
    assert "no more than 0" in found.reason


def test_fewer_errors_than_are_stated_decide_nothing(few: Channel) -> None:
    found = one(slipping.TwoOfFourWords(), few, "corrects-as-stated")
    assert found.status == "could-not-run"
    assert "labels allow no more than 0 wrong bits in a block, 1 are stated" in found.reason


def test_errors_that_only_go_in_one_order_are_made(few: Channel) -> None:
    case = SchemeCase(slipping.BitsInAChain(), corpus=few)
    a, rows = case.run.a, np.arange(3)
    for count in (1, 2, 3):
        wrong = with_errors(case, a, case.run.published, count, case.rng("errors", count), rows)
        labels = slipping.BitsInAChain.labels
        differ = (labels[a.symbols] != labels[wrong.symbols]).reshape(3, 6, 6).sum(axis=2)
        assert (differ == count).all()
