"""`keyassay claims` as a user meets it."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from harness.claims.reading import effective, parse_claims, read_claims
from harness.cli.claiming import claims as command
from harness.errors import UsageError
from harness.threats import STANDARD_ADVERSARIES

Make = Callable[..., Any]
TEXT = """version = 1
[[requirement]]
id = "need"
text = "Nobody borrows the bike."
[[requirement]]
id = "bare"
text = "Nobody claims this."
[[claim]]
id = "it"
measure = "success-odds"
budget = 1
at_most = 0.05
requirement = "need"
rationale = "red \\u001b[31m \\u202e"
"""


def run(*words: str) -> Result:
    return CliRunner().invoke(command, list(words))


@pytest.fixture
def files(tmp_path: Path, result: Make, counted: Make) -> Callable[..., tuple[str, str]]:
    """A claims file and a result folder."""

    def make(hits: int, text: str = TEXT) -> tuple[str, str]:
        (tmp_path / "claims.toml").write_text(text, "utf-8")
        (tmp_path / "result.json").write_text(result(counted(hits)).to_json(), "utf-8")
        return str(tmp_path / "claims.toml"), str(tmp_path)

    return make


SCOPED = "".join(
    f'[[out_of_scope]]\nthreat = "{t}"\nreason = "not \\u001b[31m here"\n'
    for t in STANDARD_ADVERSARIES
    if t != "mimicry"
)


@pytest.mark.parametrize(
    ("hits", "more", "status", "outcome"),
    [
        (0, SCOPED, 0, "WITHSTOOD"),
        (0, "", 4, "WITHSTOOD"),
        (12, SCOPED, 4, "UNDECIDED"),
        (60, SCOPED, 1, "REFUTED"),
    ],
)
def test_a_result_is_judged(files: Make, hits: int, more: str, status: int, outcome: str) -> None:
    file, folder = files(hits, TEXT + more)
    done = run(file, "--result", folder)
    assert done.exit_code == status
    lines = done.output.splitlines()
    assert all(line.isprintable() for line in lines)
    need, claim = (next(i for i, line in enumerate(lines) if word in line) for word in ("need", outcome))
    row = next(i for i, line in enumerate(lines) if "design-effect" in line)
    assert need < claim < row, "requirement, claim, rows, in this order"
    assert any("WITHOUT EVIDENCE" in line for line in lines)
    assert lines[0].startswith("Use of the key: not declared")


def test_without_anything_asked_the_help_is_shown() -> None:
    done = run()
    assert done.exit_code == 0
    assert "--template" in done.output
    assert done.output == run("--help").output


def test_the_template_passes(tmp_path: Path) -> None:
    done = run("--template")
    (tmp_path / "claims.toml").write_text(done.output, "utf-8")
    assert read_claims(tmp_path / "claims.toml").version == 1


def test_what_is_in_force_is_printed_as_a_sound_file(files: Make) -> None:
    file, _ = files(0, 'presets = ["twenty-volunteers"]\n' + TEXT)
    done = run("--effective", file)
    assert done.exit_code == 0
    assert parse_claims(done.output.encode(), source="again") == effective(read_claims(file))
    assert "twenty-volunteers.odds" in done.output
    assert all(line.isprintable() for line in done.output.splitlines())


def test_the_schema_is_printed() -> None:
    assert json.loads(run("--schema").output)["title"] == "keyassay claims"


@pytest.mark.parametrize(
    "words",
    [("x.toml",), ("--result", "x"), ("--template", "--schema"), ("x", "--result", "y", "--template")],
)
def test_half_a_question_is_refused(words: tuple[str, ...]) -> None:
    done = run(*words)
    assert done.exit_code == 2
    assert "one thing at a time" in done.output


@pytest.mark.parametrize("content", ["", "{", "[]", "{}", '{"version": 2}', "[" * 5000, "\x00"])
def test_damaged_results_come_to_one_sentence(files: Make, content: str) -> None:
    file, folder = files(0)
    (Path(folder) / "result.json").write_text(content, "utf-8")
    done = run(file, "--result", folder)
    assert isinstance(done.exception, UsageError)
    assert "must be a whole result" in str(done.exception)


def test_missing_results_and_claims(files: Make, tmp_path: Path) -> None:
    file, folder = files(0)
    for words in ((file, "--result", str(tmp_path / "none")), (str(tmp_path / "none"), "--result", folder)):
        assert isinstance(run(*words).exception, UsageError)


def test_help_loads_no_numerical_library() -> None:
    code = (
        "import sys; from harness.cli.claiming import claims; "
        "claims.main(['--help'], standalone_mode=False); "
        "sys.exit(bool({'numpy', 'scipy', 'pydantic'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_example_text_is_what_it_seems() -> None:
    assert tomllib.loads(TEXT)["claim"][0]["rationale"] == "red \x1b[31m \u202e"
