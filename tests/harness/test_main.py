"""Whatever happens in a command comes to one sentence and a status."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import click
import pytest
from command_line import run

from harness.cli import root
from harness.errors import ContractError, CorpusError, UsageError


def ends(monkeypatch: pytest.MonkeyPatch, capsys: Any, error: BaseException) -> tuple[int, str]:
    def fails() -> None:
        raise error

    monkeypatch.setitem(root.cli.commands, "list", click.Command("list", callback=fails))
    status, _, told = run(capsys, "list")
    return status, told


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (UsageError("`seed` must be at least 0"), 2, "keyassay: `seed` must be at least 0\n"),
        (CorpusError("must be whole"), 2, "keyassay: must be whole\n"),
        (ContractError("mine", "linear()", "bits", "none"), 2, "keyassay: mine"),
        (click.exceptions.Abort(), 130, "keyassay: interrupted\n"),
        (KeyboardInterrupt(), 130, "keyassay: interrupted\n"),
        (ZeroDivisionError("nothing to\ndivide by"), 3, "please report: ZeroDivisionError: nothing to"),
    ],
)
def test_errors_are_one_sentence(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: BaseException,
    status: int,
    says: str,
) -> None:
    monkeypatch.delenv("KEYASSAY_DEBUG", raising=False)
    left, told = ends(monkeypatch, capsys, error)
    assert left == status
    assert says in told
    assert "\n" not in told.strip("\n")  # an interrupted line ends first


def test_the_place_of_an_error_is_shown_to_whoever_asks(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("KEYASSAY_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        ends(monkeypatch, capsys, ZeroDivisionError("nothing"))


def test_no_command_at_all_shows_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, told = run(capsys)
    assert status == 2
    assert "Usage: keyassay" in out + told


def test_the_package_is_the_command_too() -> None:
    words = [sys.executable, "-m", "harness.cli", "--version"]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0
    assert done.stdout.startswith("keyassay, version")
