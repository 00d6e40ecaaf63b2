"""Schemes that are programs: a worked example, whole audits of it, and files that do not fit."""

from __future__ import annotations

import copy
import json
import pickle
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest

from harness import audit
from harness.contracts import Capture, Scheme
from harness.errors import UsageError
from harness.plugins import parameters_of, resolve
from harness.varying import takes, variant
from tests.schemes.bodies import emg
from tests.schemes.programs import capture_of, program

HERE = Path(__file__).parent
TEXT = f"""
name = "vendor"
signal = "emg"
key_bits = 8
alphabet = 2
symbols = 40
summary = "A vendor's build."

[command]
run = [{json.dumps(sys.executable)}, "vendor_program.py"]
limit_s = 20
"""


@pytest.fixture
def vendor(tmp_path: Path) -> Path:
    shutil.copy(HERE / "vendor_program.py", tmp_path)
    path = tmp_path / "vendor.toml"
    path.write_text(TEXT, "utf-8")
    return path


def test_a_program_is_a_scheme(vendor: Path) -> None:
    made = resolve("scheme", str(vendor)).value
    assert isinstance(made, Scheme)
    assert (made.name, made.key_bits, made.signal, made.summary) == (
        "vendor",
        8,
        "emg",
        "A vendor's build.",
    )
    assert pickle.loads(pickle.dumps(made)) == copy.deepcopy(made) == made
    capture = capture_of(5)
    witness = made.witness(capture)
    assert np.array_equal(witness.symbols, capture.samples[:, 0, :40] > 0)
    assert witness.acquired.all()
    assert np.array_equal(witness.features[..., 0], capture.samples[:, 0, :40])
    keys, helper = made.generate(witness, rng=np.random.default_rng(1))
    assert keys.shape == (5, 8)
    assert list(helper) == ["offset"]
    again, accepted = made.reproduce(made.witness(capture_of(5, noise=0.1)), helper)
    assert accepted.all()
    assert np.array_equal(again, keys)
    other, _ = made.generate(witness, rng=np.random.default_rng(2))
    assert not np.array_equal(other, keys)
    same, _ = made.generate(witness, rng=np.random.default_rng(1))
    assert np.array_equal(same, keys)


def test_short_and_gappy_attempts_come_back_as_not_acquired(vendor: Path) -> None:
    made = resolve("scheme", str(vendor)).value
    samples = capture_of(3).samples.copy()
    samples[1, 0, 30:] = np.nan
    assert made.witness(emg(samples)).acquired.tolist() == [True, False, True]
    with pytest.raises(ValueError, match="'emg', got 'ecg'"):
        made.witness(Capture(samples=samples, rate_hz=500.0, signal="ecg", unit="mV"))


def test_a_whole_audit_of_a_program(vendor: Path) -> None:
    found = audit(str(vendor), attacks=["population"], subjects=3, sessions=1, attempts=2)
    agreement = [r for r in found.rows if r.measure == "key-agreement"]
    assert agreement
    assert all(r.status == "measured" for r in agreement)
    facts = found.schemes[0]
    assert facts["source"] == "vendor.toml"
    assert facts["parameters"]["command.run"] == [Path(sys.executable).name, "vendor_program.py"]
    assert str(vendor.parent) not in json.dumps(facts["parameters"])
    assert facts["summary"] == "A vendor's build."


def test_a_program_that_fails_in_an_audit_fails_its_cells(tmp_path: Path) -> None:
    broken = program(tmp_path, "sys.exit('no licence')")
    found = audit([broken, "interval-gray"], attacks=["population"], subjects=3, sessions=1, attempts=2)
    failed = [r for r in found.rows if r.scheme == "vendor"]
    assert {r.status for r in failed} == {"failed"}
    assert "it said: no licence" in failed[0].reason
    assert any(r.scheme == "interval-gray" and r.status == "measured" for r in found.rows)


def test_another_build_is_another_scheme(vendor: Path) -> None:
    before = resolve("scheme", str(vendor)).value
    with (vendor.parent / "vendor_program.py").open("a", encoding="utf-8") as file:
        file.write("# another build\n")
    after = resolve("scheme", str(vendor)).value
    assert before != after
    assert parameters_of(before)["command.digest"] != parameters_of(after)["command.digest"]


def test_parameters_can_be_changed(vendor: Path) -> None:
    made = resolve("scheme", f"{vendor}:command.limit_s=5,name=other").value
    assert (made.limit_s, made.name) == (5.0, "other")
    assert "command.limit_s" in takes("scheme", made)
    assert variant("scheme", made, {"command.limit_s": 7}).limit_s == 7.0
    assert resolve("scheme", variant("scheme", str(vendor), {"command.limit_s": 7})).value.limit_s == 7.0


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (("vendor_program.py", "x.py"), None),  # an argument that is no file is the program's own affair
        (
            (json.dumps(sys.executable), '"no-such-program"'),
            "a program that can be run, got 'no-such-program'",
        ),
        (("run =", "rum ="), "'command.rum' of a command; did you mean 'command.run'"),
        (("symbols = 40", ""), "'symbols' must be given"),
        (("symbols = 40", "symbols = 0"), "`symbols` must be a whole number from 1"),
        (("alphabet = 2", "alphabet = 257"), "`alphabet` must be a whole number from 2 to 256, got 257"),
        (("alphabet = 2", "alphabets = 2"), "did you mean 'alphabet'"),
        (("key_bits = 8", "key_bits = 0"), "`key_bits`"),
        (("limit_s = 20", "limit_s = 0"), "`command.limit_s` must be positive"),
        (("limit_s = 20", 'limit_s = "long"'), "`command.limit_s`"),
        (("[command]", "[quantiser]\nkind = 'level'\n[command]"), "'quantiser.kind' of a command"),
        (('name = "vendor"', "name = 1"), "`name` must be a word"),
    ],
)
def test_a_file_that_does_not_fit_is_one_sentence(
    vendor: Path, change: tuple[str, str], text: str | None
) -> None:
    assert change[0] in TEXT
    vendor.write_text(TEXT.replace(*change, 1), "utf-8")
    if text is None:
        resolve("scheme", str(vendor))
        return
    with pytest.raises(UsageError, match=text) as told:
        resolve("scheme", str(vendor))
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("run", ["'vendor'", "[]", "[1]", "['']"])
def test_run_must_be_a_list_of_words(vendor: Path, run: str) -> None:
    line = next(x for x in TEXT.splitlines() if x.startswith("run"))
    vendor.write_text(TEXT.replace(line, f"run = {run}"), "utf-8")
    with pytest.raises(UsageError, match=r"`command\.run` must be a list of words"):
        resolve("scheme", str(vendor))
