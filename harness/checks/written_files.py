"""Which files Python code wrote, made or removed, wherever they lie.

An audit hook cannot be taken away again; this one is added when first needed and does nothing while
nobody watches. Files that compiled libraries write on their own are not seen.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

__all__ = ["OWN", "Watcher", "watched_files"]

_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
OWN = "keyassay-check-"  # how folders of the checks themselves begin
_UNIMPORTANT = ("__pycache__",)  # what the import of a module leaves

_watchers: list[Watcher] = []
_added = threading.Event()


class Watcher:
    """Remembers what is done to files."""

    def __init__(self) -> None:
        self.touched: dict[str, str] = {}

    def see(self, event: str, arguments: tuple[Any, ...]) -> None:
        if event == "open":
            path, mode, flags = arguments
            writing = bool((flags or 0) & _WRITING) if mode is None else any(m in mode for m in "wax+")
            if writing:
                self._note(path, "written" if os.path.lexists(_text(path)) else "made")
        elif event == "os.mkdir":
            self._note(_below(arguments[0], arguments[2]), "made")
        elif event in ("os.remove", "os.rmdir"):
            self._note(_below(arguments[0], arguments[1]), "removed")
        elif event == "os.rename":
            source, target = _below(arguments[0], arguments[2]), _below(arguments[1], arguments[3])
            self._note(source, "removed")
            self._note(target, "written" if os.path.lexists(target) else "made")
        elif event in ("os.symlink", "os.link"):
            self._note(_text(arguments[1]), "made")

    def _note(self, path: Any, done: str) -> None:
        text = _text(path)
        if f"{os.sep}{OWN}" in text:  # ours, removed whenever its owner is collected
            return
        if done == "removed" and not os.path.lexists(text):
            return
        if not text or any(part in _UNIMPORTANT for part in Path(text).parts) or text.startswith("/dev/"):
            return
        self.touched.setdefault(os.path.abspath(text), done)  # what came first says whose file it was


def _text(path: Any) -> str:
    return os.fsdecode(path) if isinstance(path, str | bytes | os.PathLike) else ""  # not a number


def _below(path: Any, folder: Any) -> str:
    """The path in words, where it is told relative to an open folder."""
    text = _text(path)
    if not text or os.path.isabs(text) or not isinstance(folder, int) or folder < 0:
        return text
    try:
        return os.path.join(os.readlink(f"/proc/self/fd/{folder}"), text)
    except OSError:  # a system that does not tell: better unseen than taken for another file
        return ""


def _hook(event: str, arguments: tuple[Any, ...]) -> None:
    # nothing may be traced in here, so tests ask `Watcher.see` as well
    if _watchers and (event == "open" or event.startswith("os.")):
        for watcher in list(_watchers):
            watcher.see(event, arguments)


@contextmanager
def watched_files() -> Iterator[dict[str, str]]:
    """Absolute path -> "made", "written" or "removed", whichever came first; filled inside the block."""
    if not _added.is_set():
        _added.set()
        sys.addaudithook(_hook)
    watcher = Watcher()
    _watchers.append(watcher)
    try:
        yield watcher.touched
    finally:
        _watchers.remove(watcher)
