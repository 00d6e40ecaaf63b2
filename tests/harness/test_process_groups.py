"""Whether a process has ended, on systems with and without a way to ask that leaves its number its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import pytest

from harness.process_groups import ended, kill_group


def waited(process: subprocess.Popen[bytes]) -> bool:
    until = time.monotonic() + 20
    while not ended(process):
        if time.monotonic() > until:
            return False
        time.sleep(0.01)
    return True


@pytest.mark.parametrize("asks", [True, False])
def test_a_process_that_runs_has_not_ended_and_one_that_was_ended_has(
    monkeypatch: pytest.MonkeyPatch, asks: bool
) -> None:
    if not asks:
        monkeypatch.delattr(os, "waitid", raising=False)
    sleeps = [sys.executable, "-c", "import time; time.sleep(60)"]
    process = subprocess.Popen(sleeps, start_new_session=True)
    assert not ended(process)
    kill_group(process)
    assert waited(process)
    assert process.wait() == -signal.SIGKILL
    assert ended(process)
    kill_group(process)  # its number may be another's by now, so nothing is ended
