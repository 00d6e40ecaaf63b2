"""Who may know whom."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PLUG_INS = {"attacks", "schemes", "reports", "fixtures"}


def imported(path: Path) -> set[str]:
    """Top-level packages that a file imports anywhere, inside functions too."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.partition(".")[0])
    return found


@pytest.mark.parametrize(
    "path", sorted((ROOT / "harness").rglob("*.py")), ids=lambda p: str(p.relative_to(ROOT))
)
def test_the_harness_imports_no_plug_in(path: Path) -> None:
    allowed = PLUG_INS if ROOT / "harness" / "cli" in path.parents else set()
    assert imported(path) & PLUG_INS <= allowed


def test_the_check_sees_an_import_inside_a_function(tmp_path: Path) -> None:
    (tmp_path / "sly.py").write_text(
        "def f():\n    from schemes.codes import code\n    return code\n", "utf-8"
    )
    assert imported(tmp_path / "sly.py") == {"schemes"}


def test_the_contracts_of_import_linter_are_kept() -> None:
    command = [Path(sys.executable).parent / "lint-imports", "--no-cache"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_nobody_draws_from_global_random_state() -> None:
    for folder in ("harness", *PLUG_INS):
        for path in (ROOT / folder).rglob("*.py"):
            text = path.read_text("utf-8")
            for word in (
                r"np\.random\.(seed|rand|normal)",
                r"default_rng\(\)",
                r"^\s*(import|from) random\b",
            ):
                assert not re.search(word, text, re.MULTILINE), f"{path}: {word}"
