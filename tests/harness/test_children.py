"""A stranger's process is ended with all that it started in its group, and never waited for in vain."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from harness.errors import ContractError
from harness.isolation import meet
from harness.patient_pipes import PatientPipe

SLEEPER = """
import os, pathlib, subprocess, sys, time
if os.fork():
    while not pathlib.Path({pid!r}).exists():
        time.sleep(0.01)
    os._exit(0)
{leaves}
pathlib.Path({pid!r} + ".part").write_text(str(os.getpid()))
os.rename({pid!r} + ".part", {pid!r})
time.sleep(60)
"""
SPINNER = """
import os, pathlib
pathlib.Path({pid!r} + ".part").write_text(str(os.getpid()))
os.rename({pid!r} + ".part", {pid!r})
while True: pass
"""


def plugin(folder: Path, text: str, **words: str) -> tuple[Path, Path]:
    """A plug-in, and the file in which its process says its number."""
    written, pid = folder / "plugin.py", folder / "pid"
    written.write_text(text.format(pid=str(pid), **words))
    return written, pid


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    # dead, but nobody has asked for its status yet
    return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"


def within(seconds: float, happened: Callable[[], bool]) -> bool:
    end = time.monotonic() + seconds
    while not happened() and time.monotonic() < end:
        time.sleep(0.05)
    return happened()


def test_what_a_child_that_has_ended_left_in_its_group_is_ended(tmp_path: Path) -> None:
    written, pid = plugin(tmp_path, SLEEPER, leaves="os.closerange(0, 99)")
    with pytest.raises(ContractError, match="a process that answers"):
        meet(str(written))
    assert within(5, lambda: not alive(int(pid.read_text())))


def test_nobody_waits_for_who_left_the_group_with_the_pipes(tmp_path: Path) -> None:
    written, pid = plugin(tmp_path, SLEEPER, leaves="os.setsid()")
    with pytest.raises(ContractError, match="a process that answers"):
        meet(str(written))
    left = int(pid.read_text())
    assert alive(left)  # and holds the pipes
    os.kill(left, signal.SIGKILL)


def test_a_child_ends_when_its_parent_is_killed(tmp_path: Path) -> None:
    written, pid = plugin(tmp_path, SPINNER)
    code = f"from harness.isolation import meet; meet({str(written)!r})"
    with subprocess.Popen([sys.executable, "-c", code]) as parent:
        try:
            assert within(30, pid.exists)
        finally:
            parent.kill()
    spinning = int(pid.read_text())
    try:
        assert within(10, lambda: not alive(spinning))
    finally:
        with suppress(ProcessLookupError):
            os.kill(spinning, signal.SIGKILL)


@pytest.mark.parametrize(("late", "outcome"), [(False, b"said before"), (True, TimeoutError)])
def test_what_was_said_before_somebody_left_is_heard_unless_it_is_late(late: bool, outcome: object) -> None:
    hear, say = os.pipe()  # `say` stays open, as in the hands of a process that was left behind
    try:
        os.write(say, b"said before")
        pipe = PatientPipe(hear, gone=lambda: True, late=lambda: late)
        if late:
            with pytest.raises(TimeoutError):
                pipe.readall()
        else:
            assert pipe.readall() == outcome
    finally:
        os.close(hear)
        os.close(say)


def test_who_has_left_is_not_written_to_for_ever() -> None:
    hear, say = os.pipe()
    try:
        pipe = PatientPipe(say, gone=lambda: True, late=lambda: False)
        os.set_blocking(say, False)
        with suppress(BlockingIOError):
            while True:
                os.write(say, bytes(2**16))  # until the pipe holds no more
        with pytest.raises(BrokenPipeError, match="nobody reads"):
            pipe.write(b"more")
    finally:
        os.close(hear)
        os.close(say)
