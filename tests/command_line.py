"""A keyassay command, run in the process of its test."""

from __future__ import annotations

import sys

import pytest

from harness import cli


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Status, standard output and standard error."""
    before = sys.argv
    sys.argv = ["keyassay", *words]
    try:
        with pytest.raises(SystemExit) as left:
            cli.main()
    finally:
        sys.argv = before
    captured = capsys.readouterr()
    return int(left.value.code or 0), captured.out, captured.err
