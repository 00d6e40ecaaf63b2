"""The tests of one mutant, in a process of its own that starts with all libraries loaded."""

from __future__ import annotations

import io
import os
import shutil
import signal
import subprocess
import sys
import tarfile
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from mutation.reach import QUIET, steady

KILLED, SURVIVED, TIMED_OUT, UNTESTED, CRASHED = "killed", "survived", "timed out", "untested", "crashed"
FIRST = 12  # so many quick tests have a process of their own: most mutants need no more
PATIENCE = 20.0  # seconds, and ten times what the tests take
LONGEST = 90.0


def scratch_copy(root: Path, folder: Path) -> str:
    """The last commit, unpacked; its short name."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    git = ["git", "-C", str(root)]
    packed = subprocess.run([*git, "archive", "HEAD"], capture_output=True, check=True).stdout
    with tarfile.open(fileobj=io.BytesIO(packed)) as tar:
        tar.extractall(folder, filter="data")
    name = subprocess.run([*git, "rev-parse", "--short", "HEAD"], capture_output=True, check=True).stdout
    return name.decode().strip()


def apart(
    folder: Path, root: Path, log: Path, patience: float, work: Callable[[], int], *, compiles: bool = False
) -> int | None:
    """Run something in a process that imports from `folder`; its exit status, None if it took too long.

    Nothing compiled is kept, unless it `compiles`: changed files must leave no trace.
    """
    pid = os.fork()
    if pid == 0:
        os.setsid()
        status = 70
        try:
            os.chdir(folder)
            out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(out, 1)
            os.dup2(out, 2)
            sys.dont_write_bytecode = not compiles
            kept = [p for p in sys.path if (p and not Path(p).is_relative_to(root)) or "site-packages" in p]
            sys.path[:] = [str(folder), str(folder / "tests"), *kept]
            os.environ["PYTHONPATH"] = f"{folder}{os.pathsep}{folder / 'tests'}"
            os.environ["PYTHONDONTWRITEBYTECODE"] = "" if compiles else "1"
            status = work()
        except BaseException:  # noqa: BLE001  the parent reads the status, and nothing may leave this process
            traceback.print_exc()
        finally:
            os._exit(status)
    late = time.monotonic() + patience
    while time.monotonic() < late:
        found, status = os.waitpid(pid, os.WNOHANG)
        if found:
            with suppress(ProcessLookupError):
                os.killpg(pid, signal.SIGKILL)  # workers that it left
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return None


def run_tests(tests: list[str], folder: Path) -> int:
    """Here and now; first make sure that it is the copy which is tested."""
    import harness

    if not Path(str(harness.__file__)).is_relative_to(folder):
        raise RuntimeError(f"harness must come from {folder}, got {harness.__file__}")
    steady()
    place = {test: i for i, test in enumerate(tests)}

    class Order:
        def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
            items.sort(key=lambda item: place.get(item.nodeid, len(place)))

    options = ["-x", "-q", *QUIET]
    return int(pytest.main([*options, *tests], plugins=[Order()]))


class Bench:
    """Tries one mutant after another in one copy."""

    def __init__(self, root: Path, folder: Path, seconds: dict[str, float]) -> None:
        self.root, self.folder, self._seconds = root, folder, seconds
        self.log = folder.with_name(f"{folder.name}.log")

    def outcome(self, path: str, text: str, tests: list[str]) -> tuple[str, str]:
        """What became of a module's new text, and the exit status of the tests, or the test that failed."""
        if not tests:
            return UNTESTED, ""
        file = self.folder / path
        old, age = file.read_text(encoding="utf-8"), file.stat().st_mtime
        file.write_text(text, encoding="utf-8")
        os.utime(file, (age + 60, age + 60))  # or what was compiled before would be taken for it
        try:
            for part in (tests[:FIRST], tests[FIRST:]):
                if not part:
                    continue
                patience = min(LONGEST, PATIENCE + 10 * sum(self._seconds[t] for t in part))
                status = apart(
                    self.folder, self.root, self.log, patience, lambda now=part: run_tests(now, self.folder)
                )
                if status is None:
                    return TIMED_OUT, ""
                if status != 0:
                    return KILLED, f"{status}: {self._last()}"
        finally:
            file.write_text(old, encoding="utf-8")
            os.utime(file, (age, age))
        return SURVIVED, ""

    def _last(self) -> str:
        lines = self.log.read_text(errors="replace").splitlines()
        said = [line for line in lines if line.startswith(("FAILED", "ERROR"))]
        return (said or lines or [""])[-1][:200]
