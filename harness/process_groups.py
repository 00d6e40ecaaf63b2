"""Processes of strangers, and whatever they started in their own group."""

from __future__ import annotations

import os
import signal
import subprocess
from contextlib import suppress

__all__ = ["ended", "kill_group"]


def ended(process: subprocess.Popen[bytes]) -> bool:
    """Whether it has ended; it is not reaped, so that its number still means its own group."""
    if process.returncode is not None:
        return True
    if not hasattr(os, "waitid"):
        return process.poll() is not None
    return os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


def kill_group(process: subprocess.Popen[bytes]) -> None:
    """End a process that leads a group, and all of the group, also where it has ended itself already."""
    if process.returncode is None:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
