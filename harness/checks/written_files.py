"""Which files Python code wrote, made or removed, wherever they lie, and which programs it started.

An audit hook cannot be taken away again; this one is added when first needed and does nothing while
nobody watches. Files and shared memory that compiled libraries write on their own are not seen.
"""

from __future__ import annotations

import os
import re
import shutil
import stat
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

__all__ = ["Watcher", "own_folder", "remove_own", "watched_files"]

_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_COMPILED = re.compile(r"([^.]+)\.(?:.*\.)?pyc(?:\.\d+)?")  # with a number while it is written
_TERMINALS = ("/dev/tty", "/dev/pts/")
_CHANGING = ("os.truncate", "os.chmod", "os.chown", "os.utime", "os.setxattr", "os.removexattr")
_STARTING = (
    "subprocess.Popen",
    "os.system",
    "os.posix_spawn",
    "os.spawn",
    "os.fork",
    "os.forkpty",
    "os.exec",
)
_WATCHED = frozenset({"open", "sqlite3.connect", *_STARTING})

_own: set[str] = set()  # folders of the checks themselves
_watchers: list[Watcher] = []
_added = threading.Event()


def own_folder() -> Path:
    """A new folder of the checks themselves: what happens in it is held against nobody."""
    folder = os.path.realpath(tempfile.mkdtemp(prefix="keyassay-check-"))
    _own.add(folder)
    return Path(folder)


def remove_own(folder: Path) -> None:
    """Remove it, and what lies in it; from then on its name is like any other."""
    shutil.rmtree(folder, ignore_errors=True)
    _own.discard(str(folder))


class Watcher:
    """Remembers what is done to files, and what is started."""

    def __init__(self) -> None:
        self.touched: dict[str, str] = {}
        self.started: list[str] = []

    def see(self, event: str, arguments: tuple[Any, ...]) -> None:
        if event == "open":
            path, mode, flags = arguments
            writing = bool((flags or 0) & _WRITING) if mode is None else any(m in mode for m in "wax+")
            if writing:
                self._written(_text(path))
        elif event == "sqlite3.connect":
            if _text(arguments[0]) not in ("", ":memory:"):
                self._written(_text(arguments[0]))
        elif event == "os.mkdir":
            path = _below(arguments[0], arguments[2])
            if not os.path.lexists(path):  # asked for to be sure that it is there
                self._note(path, "made")
        elif event in ("os.remove", "os.rmdir"):
            self._note(_below(arguments[0], arguments[1]), "removed")
        elif event == "os.rename":
            self._note(_below(arguments[0], arguments[2]), "removed")
            self._written(_below(arguments[1], arguments[3]))
        elif event in ("os.symlink", "os.link"):
            self._note(_text(arguments[1]), "made")
        elif event in _CHANGING:
            # the last argument of these is the folder that a path is told from
            folder = arguments[-1] if event in ("os.chmod", "os.chown", "os.utime") else -1
            self._note(_opened(arguments[0]) or _below(arguments[0], folder), "changed")
        elif event in _STARTING:
            self.started.append(_program(arguments))

    def _written(self, path: str) -> None:
        self._note(path, "written" if os.path.lexists(path) else "made")

    def _note(self, text: str, done: str) -> None:
        if not text or (done in ("removed", "changed") and not os.path.lexists(text)):
            return
        path = os.path.abspath(text)
        if not _ours(path) and not _nowhere(path) and not _compiled(path):
            self.touched.setdefault(path, done)  # what came first says whose file it was


def _ours(path: str) -> bool:
    return any(path == folder or path.startswith(folder + os.sep) for folder in _own)


def _nowhere(path: str) -> bool:
    """Is it no file at all: where nothing is kept, or a terminal?"""
    if path == os.devnull:
        return True
    try:
        return path.startswith(_TERMINALS) and stat.S_ISCHR(os.stat(path).st_mode)
    except OSError:
        return False


def _compiled(path: str) -> bool:
    """What the import of a module leaves beside its source."""
    folder, name = os.path.split(path)
    if name == "__pycache__":
        return True
    found = _COMPILED.fullmatch(name)
    if os.path.basename(folder) != "__pycache__" or found is None:
        return False
    return os.path.exists(os.path.join(os.path.dirname(folder), f"{found[1]}.py"))


def _text(path: Any) -> str:
    return os.fsdecode(path) if isinstance(path, str | bytes | os.PathLike) else ""  # not a number


def _opened(path: Any) -> str:
    """The path of a file that is told by its number; nothing if it has none or is told otherwise."""
    if not isinstance(path, int):
        return ""
    try:
        return os.readlink(f"/proc/self/fd/{path}")
    except OSError:  # a system that does not tell: better unseen than taken for another file
        return ""


def _below(path: Any, folder: Any) -> str:
    """The path in words, where it is told relative to an open folder."""
    text = _text(path)
    if not text or os.path.isabs(text) or not isinstance(folder, int) or folder < 0:
        return text
    there = _opened(folder)
    return os.path.join(there, text) if there else ""


def _program(arguments: tuple[Any, ...]) -> str:
    """What is started, without the folder that it lies in."""
    words = _text(arguments[0]).split() if arguments else []
    return os.path.basename(words[0]) if words else "a copy of this process"


def _hook(event: str, arguments: tuple[Any, ...]) -> None:
    # nothing may be traced in here, so tests ask `Watcher.see` as well
    if _watchers and (event in _WATCHED or event.startswith("os.")):
        for watcher in list(_watchers):
            watcher.see(event, arguments)


@contextmanager
def watched_files() -> Iterator[Watcher]:
    """What happens inside the block: `touched`, absolute path -> "made", "written", "changed" or "removed",
    whichever came first, and `started`, the programs.
    """
    if not _added.is_set():
        _added.set()
        sys.addaudithook(_hook)
    watcher = Watcher()
    _watchers.append(watcher)
    try:
        yield watcher
    finally:
        _watchers.remove(watcher)
