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

GRACE_S = 0.2  # for a thread that is about to end
_STREAMS = ("sys.stdout", "sys.stderr")


class Watch:
    """The first breach of each kind in all watched calls: random state, environment, files, programs."""

    def __init__(self) -> None:
        self.found: dict[str, Breach] = {}

    @contextmanager
    def over(self, member: str) -> Iterator[None]:
        """Watch over one call."""
        states, before = _random_states(), _environment()
        global_bits = importlib.import_module("numpy.random").get_bit_generator()
        with warnings.catch_warnings(), watched_files() as seen:  # sets the filters back
            try:
                yield
            finally:
                after = _environment()
                _set_back(before)
                states_after = _random_states()
                importlib.import_module("numpy.random").set_bit_generator(global_bits)
        self._compare(member, "random state", states, states_after)
        self._compare(member, "environment", before, after)
        for program in seen.started[:1]:
            expected = "none started: files that others write are not seen"
            self._note("programs", Breach(member, "programs", expected, program))
        for path, done in seen.touched.items():
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
                more = _running(set(left) - set(value), left)
                if more:
                    self._note(kind, Breach(member, name, "none left running", f"{more} more"))
            elif name in _STREAMS:
                if left is not value:  # what a stranger made may be equal to anything
                    self._note(kind, Breach(member, name, "as it was before", "another stream"))
            elif left != value:
                self._note(kind, Breach(member, name, "as it was before", _changed(value, left)))


def _running(added: set[int], threads: dict[int, threading.Thread]) -> int:
    """How many of these threads run on, those aside that are just about to end."""
    for number in added:
        threads[number].join(GRACE_S)
    return sum(threads[number].is_alive() for number in added)


def _random_states() -> dict[str, Any]:
    # by name: nobody here draws from them
    return {
        "numpy.random (global)": _hashable(importlib.import_module("numpy.random").get_state(legacy=False)),
        "random (global)": importlib.import_module("random").getstate(),
    }


def _hashable(state: Any) -> Any:
    """A state of whatever bit generator, as something that can be compared."""
    if isinstance(state, dict):
        return tuple((name, _hashable(part)) for name, part in sorted(state.items()))
    return state.tobytes() if isinstance(state, np.ndarray) else state


def _environment() -> dict[str, Any]:
    return {
        "os.environ": dict(os.environ),
        "working directory": os.getcwd(),
        "sys.path": list(sys.path),
        "warnings.filters": list(warnings.filters),
        "numpy.geterr()": np.geterr(),
        "umask": _umask(),
        "threads": {id(t): t for t in threading.enumerate()},
        **{name: getattr(sys, name.partition(".")[2]) for name in _STREAMS},
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
    for name in _STREAMS:
        setattr(sys, name.partition(".")[2], before[name])
