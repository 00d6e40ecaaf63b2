"""A child process and its pipes."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import IO

from harness.patient_pipes import PatientPipe
from harness.process_groups import ended, kill_group

__all__ = ["Child", "child"]

COMPLAINT = 4096  # bytes kept of what a child printed last
GRACE_S = 1.0  # for a child that has said all to end by itself


@dataclass(slots=True)
class Child:
    """A process, the pipes to and from it, and what it printed last."""

    process: subprocess.Popen[bytes]
    say: IO[bytes]
    hear: IO[bytes]
    complaint: bytearray
    listening: threading.Thread
    late: threading.Event

    def overdue(self) -> bool:
        return self.late.is_set()

    def end(self) -> str:
        """How it ended, and the last line that it printed."""
        late = time.monotonic() + GRACE_S
        while not ended(self.process) and time.monotonic() < late:
            time.sleep(0.01)
        kill_group(self.process)
        status = self.process.wait()
        self.listening.join(1.0)
        last = self.complaint.decode(errors="replace").strip().rpartition("\n")[2]
        return f"one that ended with status {status}: {last}"


@contextmanager
def child(module: str, argument: str, *, patience_s: float) -> Iterator[Child]:
    """Run a module of ours with one argument; end it, and what it started in its own group, come what may.

    A process that leaves the group lives on, but nobody waits for it.

    Parameters
    ----------
    patience_s : float
        After so long it is killed, and `overdue`.
    """
    process = subprocess.Popen(
        # -P: what happens to lie in the working folder must not stand in for a library
        [sys.executable, "-P", "-m", module, argument],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,  # so that what it starts ends with it
    )
    if process.stdin is None or process.stdout is None or process.stderr is None:
        raise RuntimeError("a child must have pipes")
    complaint, late = bytearray(), threading.Event()
    listening = threading.Thread(target=_keep_last, args=(process.stderr, complaint), daemon=True)
    listening.start()

    def give_up() -> None:
        late.set()
        kill_group(process)

    timer = threading.Timer(patience_s, give_up)
    timer.daemon = True
    timer.start()

    def gone() -> bool:
        if not ended(process):
            return False
        kill_group(process)  # what it left behind may hold the pipes
        return True

    say = io.BufferedWriter(PatientPipe(process.stdin.fileno(), gone=gone, late=late.is_set))
    hear = io.BufferedReader(PatientPipe(process.stdout.fileno(), gone=gone, late=late.is_set))
    try:
        yield Child(process, say, hear, complaint, listening, late)
    finally:
        timer.cancel()
        kill_group(process)
        process.wait()
        listening.join(1.0)
        for pipe in (say, process.stdin, process.stdout):
            with suppress(OSError):  # what was not sent cannot be flushed to the dead
                pipe.close()


def _keep_last(pipe: IO[bytes], kept: bytearray) -> None:
    with pipe:
        while chunk := os.read(pipe.fileno(), COMPLAINT):
            kept += chunk
            del kept[:-COMPLAINT]
