"""`keyassay entropy` as a user meets it."""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness import cli
from harness.entropy_record import EntropyFile, entropy_schema
from harness.streams import stream

METHODS = {
    "most-common-value",
    "collision",
    "markov",
    "compression",
    "t-tuple",
    "longest-repeated-substring",
    "multi-most-common-in-window",
    "lag",
    "multi-markov",
    "lz78y",
}


def run(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: str
) -> tuple[int, str, str]:
    """Status, standard output and standard error of one command, in this process."""
    monkeypatch.setattr(sys, "argv", ["keyassay", "entropy", *words])
    with pytest.raises(SystemExit) as left:
        cli.main()
    captured = capsys.readouterr()
    return int(left.value.code or 0), captured.out, captured.err


@pytest.fixture
def keyassay(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    return lambda *words: run(capsys, monkeypatch, *map(str, words))


@pytest.fixture
def bits(tmp_path: Path) -> Path:
    path = tmp_path / "bits.txt"
    path.write_text("".join(map(str, stream(0, "bits").integers(0, 2, 2000))))
    return path


@pytest.fixture
def ternary(tmp_path: Path) -> Path:
    path = tmp_path / "ternary.txt"
    path.write_text(" ".join(map(str, stream(0, "ternary").integers(0, 3, 900))))
    return path


def test_bits_are_assessed_by_ten_estimators_and_every_test(keyassay: Any, bits: Path) -> None:
    status, out, err = keyassay(bits, "--format", "json")
    assert (status, err) == (0, "")
    found = EntropyFile.model_validate_json(out)
    assert {e.method for e in found.estimates} == METHODS
    assert len(found.estimates) == 10
    assert all(e.of == "symbols" for e in found.estimates)
    values = [e.value for e in found.estimates if e.value is not None]
    assert len(values) == 9  # compression needs more bits
    assert found.assessed == found.literal == min(values)
    assert found.bitstring is None
    assert all(0 <= v <= 1 for v in values)
    assert all(e.ceiling is None or 0 <= e.ceiling <= 1 for e in found.estimates)
    assert found.iid is not None
    assert found.iid.outcome == "not rejected"
    assert len(found.iid.orders) == 19
    assert found.health is not None
    assert found.health.window == 1024
    assert found.restart is None
    assert found.side == "defender-at-most"


def test_wider_symbols_are_assessed_as_they_are_and_as_bits(keyassay: Any, ternary: Path) -> None:
    status, out, _ = keyassay(ternary, "--format", "json", "--skip-iid")
    assert status == 0
    found = EntropyFile.model_validate_json(out)
    assert found.bits_per_symbol == 2
    assert found.iid is None
    assert {e.method for e in found.estimates if e.of == "bits"} == METHODS
    assert found.literal is not None
    assert found.bitstring is not None
    assert found.assessed == min(found.literal, found.bitstring)
    least = min(e.value for e in found.estimates if e.of == "bits" and e.value is not None)
    assert found.bitstring == pytest.approx(2 * least)
    assert found.health is not None
    assert found.health.window == 512


def test_the_text_says_what_decides_and_that_it_certifies_nothing(keyassay: Any, ternary: Path) -> None:
    status, out, _ = keyassay(ternary, "--skip-iid")
    assert status == 0
    for words in (
        "900 symbols of 2 bits, 3 different, read as whole numbers",
        "decides",
        "ceiling",
        "Independent and alike: not tested",
        "Below the standard's sample size",
        "only lowers the entropy",
        "the most that may be claimed",
        "certif",
    ):
        assert words in out
    for method in METHODS:
        assert method in out


def test_the_same_seed_gives_the_same_bytes(keyassay: Any, bits: Path) -> None:
    options = ("--format", "json", "--seed", 3, "--permutations", 2000)
    assert keyassay(bits, *options) == keyassay(bits, *options)


def test_symbols_that_stay_are_rejected_with_the_tests_that_reject(keyassay: Any, tmp_path: Path) -> None:
    path = tmp_path / "sticky.txt"
    sticky = np.cumsum(stream(0, "sticky").random(600) < 0.2) % 2
    path.write_text("".join(map(str, sticky)))
    status, out, _ = keyassay(path, "--permutations", 2000)
    assert status == 0
    assert "Independent and alike: rejected by" in out
    assert "median-runs" in out
    _, found, _ = keyassay(path, "--skip-iid", "--format", "json")
    truth = -np.log2(0.8)
    assert json.loads(found)["assessed"] <= truth


@pytest.mark.parametrize("symbol", ["0", "1", "7"])
def test_a_constant_sequence_has_no_entropy(keyassay: Any, tmp_path: Path, symbol: str) -> None:
    path = tmp_path / "constant.txt"
    path.write_text(" ".join([symbol] * 400))
    status, out, err = keyassay(path, "--format", "json", "--permutations", 2000)
    assert (status, err) == (0, "")
    found = EntropyFile.model_validate_json(out)
    assert found.assessed == 0
    assert found.health is None
    status, out, _ = keyassay(path, "--skip-iid")
    assert status == 0
    assert "no cutoff exists without entropy" in out


def test_restarts_by_option_and_by_array(keyassay: Any, bits: Path, tmp_path: Path) -> None:
    _, told, _ = keyassay(bits, "--restarts", 20, "--skip-iid", "--format", "json")
    array = tmp_path / "matrix.npy"
    np.save(array, stream(0, "bits").integers(0, 2, 2000).reshape(20, 100))
    _, shaped, _ = keyassay(array, "--skip-iid", "--format", "json")
    one, other = EntropyFile.model_validate_json(told), EntropyFile.model_validate_json(shaped)
    assert one.restart == other.restart
    assert one.restart is not None
    assert (one.restart.restarts, one.restart.symbols) == (20, 100)
    assert not one.restart.full_size
    assert "analogue" in one.restart.remark
    assert one.assessed is not None
    assert one.assessed <= min(one.restart.row, one.restart.column)
    _, text, _ = keyassay(array, "--skip-iid")
    assert "Restarts: passed (20 restarts of 100 symbols: an analogue" in text


def test_restarts_that_begin_alike_are_not_passed(keyassay: Any, tmp_path: Path) -> None:
    array = tmp_path / "matrix.npy"
    matrix = stream(0, "one").integers(0, 2, (100, 50))
    matrix[:, 0] = 1
    np.save(array, matrix)
    status, text, _ = keyassay(array, "--skip-iid")
    assert status == 0
    assert "Restarts: NOT passed" in text
    assert "awards no entropy" in text


def test_restarts_that_all_say_the_same_have_no_entropy(keyassay: Any, tmp_path: Path) -> None:
    array = tmp_path / "matrix.npy"
    np.save(array, np.tile(stream(0, "one").integers(0, 2, 100), (40, 1)))
    _, alone, _ = keyassay(array, "--skip-iid", "--format", "json")
    found = EntropyFile.model_validate_json(alone)
    assert found.assessed < 0.02
    _, told, _ = keyassay(array, "--skip-iid", "--format", "json", "--initial", "0.9")
    found = EntropyFile.model_validate_json(told)
    assert found.restart is not None
    assert found.restart.halved
    assert not found.restart.passed


@pytest.mark.parametrize("initial", ["-0.1", "1.5", "nan"])
def test_an_initial_entropy_beyond_the_symbols_is_refused(keyassay: Any, bits: Path, initial: str) -> None:
    status, _, err = keyassay(bits, "--restarts", 20, "--initial", initial)
    assert status == 2
    assert "0 to 1" in err


def test_an_initial_entropy_needs_restarts(keyassay: Any, bits: Path) -> None:
    status, _, err = keyassay(bits, "--initial", 0.5)
    assert status == 2
    assert "no restarts" in err


@pytest.mark.parametrize(
    ("content", "options", "says"),
    [
        (b"", (), "at least two symbols"),
        (b"0 1 2.5", (), "whole numbers, got '2.5'"),
        (b"1 -1 1", (), "0 or more"),
        (b"0 300 1", (), "8 bits, the widest"),
        (b"0 1 nan", (), "whole numbers, got 'nan'"),
        (b"0 1 \x1b[2J", ("--as", "integers"), "whole numbers"),
        (b"0101010", ("--restarts", "2"), "7 symbols"),
        (b"0101", ("--array", "x"), "only a NumPy archive"),
    ],
)
def test_bad_input_is_one_sentence_and_status_two(
    keyassay: Any, tmp_path: Path, content: bytes, options: tuple[str, ...], says: str
) -> None:
    path = tmp_path / "bad"
    path.write_bytes(content)
    status, out, err = keyassay(path, *options)
    assert (status, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1
    assert err.isprintable() or err[:-1].isprintable()


def test_an_array_with_restarts_of_its_own_takes_no_other(keyassay: Any, tmp_path: Path) -> None:
    np.save(tmp_path / "m.npy", np.zeros((4, 10), int))
    status, _, err = keyassay(tmp_path / "m.npy", "--restarts", 2)
    assert status == 2
    assert "leave `--restarts` out" in err


@pytest.mark.parametrize("shape", [(2, 3, 4), (0, 5)])
def test_arrays_of_other_shapes_are_refused(keyassay: Any, tmp_path: Path, shape: tuple[int, ...]) -> None:
    np.save(tmp_path / "m.npy", np.zeros(shape, int))
    status, out, err = keyassay(tmp_path / "m.npy")
    assert (status, out, err.count("\n")) == (2, "", 1)


def test_pickled_objects_are_refused(keyassay: Any, tmp_path: Path) -> None:
    np.save(tmp_path / "o.npy", np.array([1, {}], object), allow_pickle=True)
    status, _, err = keyassay(tmp_path / "o.npy")
    assert status == 2
    assert "whole numbers" in err


def test_a_folder_and_nothing_are_refused(keyassay: Any, tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "gone"):
        status, _, err = keyassay(path)
        assert status == 2
        assert err.startswith("keyassay: FILE must be a file of bits or symbols")


def test_too_few_permutations_are_refused_before_anything_is_done(keyassay: Any, bits: Path) -> None:
    status, out, err = keyassay(bits, "--permutations", 100)
    assert (status, out) == (2, "")
    assert "1666" in err


def test_the_published_schema_is_that_of_the_output() -> None:
    published = json.loads((files("harness") / "entropy.schema.json").read_text("utf-8"))
    assert published == entropy_schema()


def test_help_loads_no_numerical_library() -> None:
    code = (
        "import sys; sys.argv = ['keyassay', 'entropy', '--help']\n"
        "from harness.cli import main\n"
        "try: main()\n"
        "except SystemExit: print(sorted({'numpy', 'scipy', 'pydantic'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
