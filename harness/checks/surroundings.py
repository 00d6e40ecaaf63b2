"""What a plug-in must leave as it found it: global random state, process, files.

Every call of a plug-in under check is watched, and what it changed of the process is set back: a change
that is made once, and found there by every later call, would else go unseen.
"""

from __future__ import annotations

import importlib
import os
import sys
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from harness.checks.outcomes import Breach
from harness.checks.written_files import watched_files

__all__ = ["Watch"]


class Watch:
    """The first breach of each kind, "random state", "environment" and "files", in all watched calls."""

    def __init__(self) -> None:
        self.found: dict[str, Breach] = {}

    @contextmanager
    def over(self, member: str) -> Iterator[None]:
        """Watch over one call."""
        states, before = _random_states(), _environment()
        with warnings.catch_warnings(), watched_files() as touched:  # sets the filters back
            try:
                yield
            finally:
                after = _environment()
                _set_back(before)
        self._compare(member, "random state", states, _random_states())
        self._compare(member, "environment", before, after)
        for path, done in touched.items():
            if done != "made" or os.path.lexists(path):  # else made and removed again
                name = Path(path).name
                got = f"{name!r} {done}"
                self._note("files", Breach(member, "files", "none left behind, changed or removed", got))

    def judge(self, kind: str) -> None:
        """Raise the first breach of a kind."""
        if kind in self.found:
            raise self.found[kind]

    def _note(self, kind: str, breach: Breach) -> None:
        self.found.setdefault(kind, breach)

    def _compare(self, member: str, kind: str, before: dict[str, Any], after: dict[str, Any]) -> None:
        for name, value in before.items():
            left = after[name]
            if name == "threads":
                if left - value:
                    got = f"{len(left - value)} more"
                    self._note(kind, Breach(member, name, "none left running", got))
            elif left != value:
                self._note(kind, Breach(member, name, "as it was before", _changed(value, left)))


def _random_states() -> dict[str, Any]:
    # by name: nobody here draws from them
    legacy = importlib.import_module("numpy.random").get_state(legacy=False)
    return {
        "numpy.random (global)": (legacy["state"]["key"].tobytes(), legacy["state"]["pos"]),
        "random (global)": importlib.import_module("random").getstate(),
    }


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


def _changed(before: Any, after: Any) -> str:
    if isinstance(before, dict):
        names = sorted(k for k in {*before, *after} if before.get(k) != after.get(k))
        return f"other values of {', '.join(names)}"
    if isinstance(before, list):
        return f"{len(after)} entries instead of {len(before)}, or others"
    return "another state" if isinstance(before, tuple) else repr(after)


def _set_back(before: dict[str, Any]) -> None:
    if os.environ != before["os.environ"]:
        os.environ.clear()
        os.environ.update(before["os.environ"])
    if os.getcwd() != before["working directory"]:
        os.chdir(before["working directory"])
    sys.path[:] = before["sys.path"]
    np.seterr(**before["numpy.geterr()"])
    os.umask(before["umask"])
