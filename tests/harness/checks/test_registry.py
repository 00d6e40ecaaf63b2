"""The checks of one kind are listed without those of the other."""

from __future__ import annotations

import subprocess
import sys

ASK = """
from harness.checks import registry
registry.checks_of("attack")
print(sorted({kind for kind, _ in registry._KNOWN}))
"""


def test_checks_of_attacks_bring_none_of_schemes_along() -> None:
    found = subprocess.run([sys.executable, "-c", ASK], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "['attack']"
