"""Made-up programs that stand for a scheme."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

from harness.contracts import Capture
from schemes.commanded import Commanded, commanded
from tests.schemes.bodies import emg

SETTINGS: dict[str, Any] = {
    "name": "vendor",
    "signal": "emg",
    "key_bits": 8,
    "alphabet": 2,
    "symbols": 40,
}


def capture_of(attempts: int, seed: int = 0, noise: float = 0.0) -> Capture:
    clean = np.random.default_rng(seed).standard_normal((attempts, 1, 60))
    return emg(clean + noise * np.random.default_rng(9).standard_normal(clean.shape))


def program(folder: Path, body: str, **settings: Any) -> Commanded:
    """A scheme whose program is `body`, which finds `step`, `source`, `target` and numpy as np."""
    path = folder / "program.py"
    needed = "import sys, numpy as np\n" if "np." in body else "import sys\n"
    path.write_text(f"{needed}step, source, target = sys.argv[1:]\n{body}", "utf-8")
    tree = {**SETTINGS, "command": {"run": [sys.executable, "program.py"], **settings}}
    return commanded(tree, folder=folder)
