"""What a plug-in must leave as it found it: global random state, process, files."""

from __future__ import annotations

import importlib
import os
import sys
import threading
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from harness.checks.outcomes import Breach
from harness.checks.written_files import watched_files

__all__ = ["keeps_environment", "keeps_files", "keeps_random_state"]


def _random_states() -> dict[str, Any]:
    # by name: nobody here draws from them
    legacy = importlib.import_module("numpy.random").get_state(legacy=False)
    return {
        "numpy.random": repr(legacy["state"]["key"].tobytes()) + str(legacy["state"]["pos"]),
        "random": repr(importlib.import_module("random").getstate()),
    }


def keeps_random_state(member: str, work: Callable[[], object]) -> None:
    """Raise a Breach if `work` changes a global random state."""
    before = _random_states()
    work()
    after = _random_states()
    for name, state in before.items():
        if after[name] != state:
            raise Breach(member, f"{name} (global)", "its state as it was before", "another state")


def _environment() -> dict[str, Any]:
    return {
        "os.environ": dict(os.environ),
        "working directory": os.getcwd(),
        "sys.path": list(sys.path),
        "warnings.filters": list(warnings.filters),
        "numpy.geterr()": np.geterr(),
        "umask": _umask(),
        "threads": {t.ident for t in threading.enumerate() if not t.daemon},
    }


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def keeps_environment(member: str, work: Callable[[], object]) -> None:
    """Raise a Breach if `work` changes the process that it runs in; what it changed is set back."""
    before = _environment()
    with warnings.catch_warnings():  # sets the filters back
        try:
            work()
            after = _environment()
        finally:
            _set_back(before)
    for name, value in before.items():
        left = after[name]
        if name == "threads":
            if left - value:
                raise Breach(member, name, "none left running", f"{len(left - value)} more")
        elif left != value:
            raise Breach(member, name, "as it was before", _changed(value, left))


def _changed(before: Any, after: Any) -> str:
    if isinstance(before, dict):
        names = sorted(k for k in {*before, *after} if before.get(k) != after.get(k))
        return f"other values of {', '.join(names)}"
    if isinstance(before, list):
        return f"{len(after)} entries instead of {len(before)}, or others"
    return repr(after)


def _set_back(before: dict[str, Any]) -> None:
    if os.environ != before["os.environ"]:
        os.environ.clear()
        os.environ.update(before["os.environ"])
    os.chdir(before["working directory"])
    sys.path[:] = before["sys.path"]
    np.seterr(**before["numpy.geterr()"])
    os.umask(before["umask"])


def keeps_files(member: str, work: Callable[[], object]) -> None:
    """Raise a Breach if `work` leaves a file behind, or touches one that was there."""
    with watched_files() as touched:
        work()
    for path, done in touched.items():
        if done == "made" and not os.path.lexists(path):
            continue  # made and removed again
        name = Path(path).name
        raise Breach(member, "files", "none left behind, changed or removed", f"{name!r} {done}")
