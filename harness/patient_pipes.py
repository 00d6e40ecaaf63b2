"""The ends of a child's pipes that nobody can make us wait at for ever.

A process that the child started may hold the other ends open when the child is long gone.
"""

from __future__ import annotations

import io
import os
import select
from collections.abc import Callable
from typing import Any

__all__ = ["PatientPipe"]

LOOK_MS = 100
"""How often it is looked whether anybody is still there to wait for."""


class PatientPipe(io.RawIOBase):
    """One end of a pipe; at the other end is somebody who may leave without closing theirs.

    Parameters
    ----------
    fd : int
        Made non-blocking; whoever opened it closes it.
    gone : callable
        Whether there is nobody left to wait for. What they still sent is read all the same.
    late : callable
        Whether patience has ended: then nothing is read or written any more.
    """

    def __init__(self, fd: int, *, gone: Callable[[], bool], late: Callable[[], bool]) -> None:
        super().__init__()
        os.set_blocking(fd, False)
        self._fd, self._gone, self._late = fd, gone, late

    def readable(self) -> bool:
        return True

    def writable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        """Bytes read; 0 once the other end is closed or gone.

        Raises
        ------
        TimeoutError
            If it is late.
        """
        if not self._ready(select.POLLIN):
            return 0
        return os.readv(self._fd, [buffer])

    def write(self, data: Any) -> int:
        """Bytes written.

        Raises
        ------
        BrokenPipeError
            If the other end is closed or gone.
        TimeoutError
            If it is late.
        """
        if not self._ready(select.POLLOUT):
            raise BrokenPipeError("nobody reads")
        return os.write(self._fd, data)

    def _ready(self, event: int) -> bool:
        watch = select.poll()
        watch.register(self._fd, event)
        ready = bool(watch.poll(LOOK_MS))
        while not ready and not self._gone():
            ready = bool(watch.poll(LOOK_MS))
        if self._late():
            raise TimeoutError("no more patience")
        return ready or bool(watch.poll(0))
