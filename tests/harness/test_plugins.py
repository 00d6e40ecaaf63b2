"""From words to plug-ins."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fixtures.controls import SignCommitment
from harness.errors import ContractError, UsageError
from harness.plugins import load, names, ours, parameters_of, resolve, shown, summary_of
from schemes.envelope_trend import EnvelopeTrend


def test_registered_names_objects_and_classes_resolve() -> None:
    assert resolve("scheme", "envelope-trend").value == EnvelopeTrend()
    assert resolve("scheme", EnvelopeTrend).value == EnvelopeTrend()
    own = SignCommitment()
    assert resolve("scheme", own).value is own
    assert set(names("attack")) >= {
        "population",
        "mimicry",
        "helper-leak",
        "distant-sensor",
        "body-site",
        "replay",
    }


@pytest.mark.parametrize(
    ("spec", "expected"),
    [
        ("envelope-trend:window_s=0.15", EnvelopeTrend(window_s=0.15)),
        (
            "envelope-trend:blocks=2,key_bits=24,name=short",
            EnvelopeTrend(blocks=2, key_bits=24, name="short"),
        ),
        (
            "envelope-trend:thresholds=(-0.5, 0.5),code=golay-23-12",
            EnvelopeTrend(thresholds=(-0.5, 0.5), code="golay-23-12"),
        ),
        ("envelope-trend:extraction=toeplitz", EnvelopeTrend(extraction="toeplitz")),
    ],
)
def test_parameters_follow_a_colon(spec: str, expected: EnvelopeTrend) -> None:
    assert resolve("scheme", spec).value == expected


def test_defaults_give_way_to_what_is_written() -> None:
    corpus = resolve("corpus", "cargo-bike:seed=9", subjects=3, seed=1).value
    assert (corpus.subjects, corpus.seed) == (3, 9)


def test_foreign_and_own_are_told_apart(plugins: Path) -> None:
    assert not resolve("scheme", "envelope-trend").foreign
    assert resolve("scheme", f"{plugins / 'median_bits.py'}").foreign


@pytest.mark.parametrize("folder", [".pyenv", "x.py", "a b+c=d"])
def test_a_folder_may_have_any_name(plugins: Path, tmp_path: Path, folder: str) -> None:
    path = tmp_path / folder / "median_bits.py"
    path.parent.mkdir()
    path.write_text((plugins / "median_bits.py").read_text("utf-8"), "utf-8")
    assert resolve("scheme", f"{path}").value.key_bits == 8
    assert resolve("scheme", f"{path}:MedianBits:key_bits=16").value.key_bits == 16
    assert shown(f"{path}:MedianBits") == "median_bits.py:MedianBits"


def test_what_is_ours_is_known_without_loading_it(plugins: Path) -> None:
    assert ours("attack", "mimicry")
    assert ours("scheme", "envelope-trend:blocks=2")
    assert not ours("attack", "mimikry")
    assert not ours("attack", f"{plugins / 'thief.py'}:Thief")


def test_a_file_is_loaded_once(plugins: Path) -> None:
    assert load(plugins / "median_bits.py") is load(plugins / "median_bits.py")


@pytest.mark.parametrize(
    ("spec", "sentence"),
    [
        ("envelope", "did you mean 'envelope-trend'"),
        ("zzz", "known: crossing-set, envelope-trend, gait-deviation"),
        ("envelope-trend:blocks", "got 'envelope-trend:blocks'"),
        ("envelope-trend:bloks=2", "did you mean 'blocks'"),
        ("envelope-trend:blocks=0", "`blocks` must be"),
        ("envelope-trend:code=golay", "golay"),
        ("envelope-trend:=2", "name=value"),
        ("nowhere.py:X", "found none at nowhere.py"),
    ],
)
def test_what_cannot_be_had_is_said_in_one_sentence(spec: str, sentence: str) -> None:
    with pytest.raises(UsageError) as told:
        resolve("scheme", spec)
    assert sentence in str(told.value)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("members", "field"),
    [
        ({}, "name"),
        ({"name": "x\ny"}, "name"),
        ({"name": "x\ud800"}, "name"),
        ({"name": "x\x1b[2J"}, "name"),
        ({"name": "x"}, "key_bits"),
        ({"name": "x", "key_bits": 0}, "key_bits"),
        ({"name": "x", "key_bits": True}, "key_bits"),
        ({"name": "x", "key_bits": 8}, "signal"),
        ({"name": "x", "key_bits": 8, "signal": {}}, "signal"),
        ({"name": "x", "key_bits": 8, "signal": "emg"}, "witness"),
        ({"name": "x", "key_bits": 8, "signal": "emg", "witness": print}, "generate"),
        ({"name": "x", "key_bits": 8, "signal": "emg", "witness": print, "generate": print}, "reproduce"),
    ],
)
def test_a_missing_member_of_a_scheme_is_named(members: dict[str, object], field: str) -> None:
    with pytest.raises(ContractError, match=f"`{field}` must be"):
        resolve("scheme", type("Odd", (), members)())


@pytest.mark.parametrize(
    ("members", "field"),
    [
        ({"name": "x"}, "sees"),
        ({"name": "x", "sees": "mimic"}, "sees"),
        ({"name": "x", "sees": frozenset({1})}, "sees"),
        ({"name": "x", "sees": frozenset(), "likes": ["a"]}, "likes"),
        ({"name": "x", "sees": frozenset()}, "believe"),
    ],
)
def test_a_missing_member_of_an_attack_is_named(members: dict[str, object], field: str) -> None:
    with pytest.raises(ContractError, match=f"`{field}` must be"):
        resolve("attack", type("Odd", (), members)())


@dataclass(frozen=True)
class Odd:
    limits: tuple[float, float]
    width: np.float32
    count: np.int64
    part: object


def test_a_record_of_parameters_is_plain() -> None:
    facts = parameters_of(EnvelopeTrend())
    assert facts["window_s"] == 0.2
    assert facts["thresholds"] == [-0.674, 0.0, 0.674]
    assert summary_of(EnvelopeTrend()).endswith(".")
    odd = Odd(limits=(float("inf"), float("nan")), width=np.float32(0.5), count=np.int64(3), part=object())
    facts = parameters_of(odd)
    assert facts == {"limits": ["inf", "nan"], "width": 0.5, "count": 3, "part": "object"}
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts


def test_no_folder_of_this_machine_is_shown(plugins: Path) -> None:
    assert (
        shown(f"{plugins / 'median_bits.py'}:MedianBits:key_bits=4")
        == "median_bits.py:MedianBits:key_bits=4"
    )
    assert shown("envelope-trend:blocks=2") == "envelope-trend:blocks=2"
