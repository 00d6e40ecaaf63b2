"""One call of a program that reads one NPZ file and writes another, in a folder of its own.

The program is a stranger's: it may crash, hang, fill the disk or write nonsense. Nothing that comes
back is unpickled, nothing larger than its bound is read, and no shell is involved.
"""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
import time
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from harness.contracts import Array
from harness.errors import ContractError
from harness.process_groups import ended, kill_group

__all__ = ["MOST_BYTES", "call_program"]

MOST_BYTES = 2**30
"""What a call may write, to all its files together, before it is ended (assumption: ample for a batch)."""

_FOLDERS = re.compile(r"(?:/[^\s/'\":]+)+/")  # no folder of this machine goes into a result
_LOOK_S = 0.005  # how often it is looked whether the program has ended
_KEPT = ("PATH", "LANG", "LC_ALL", "SYSTEMROOT", "LD_LIBRARY_PATH")
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def call_program(
    name: str,
    words: Sequence[str],
    step: str,
    arrays: Mapping[str, Array],
    *,
    limit_s: float,
    most_bytes: int = MOST_BYTES,
) -> dict[str, Array]:
    """Run ``words step IN.npz OUT.npz`` and return the arrays of OUT.npz.

    Parameters
    ----------
    name, step : str
        Whose program it is and what it is asked for, for messages too.
    words : sequence of str
        The program and its first arguments.
    arrays : mapping
        Written to IN.npz, not compressed.
    limit_s : float
        After so many seconds the program and what it started in its group is killed.
    most_bytes : int
        It is ended too once its folder holds more than that beside IN.npz.

    Raises
    ------
    ContractError
        Whatever went wrong, with the last line that the program wrote to standard error.
    """
    field = f"{step}()"
    with tempfile.TemporaryDirectory(prefix="keyassay-call-", ignore_cleanup_errors=True) as own:
        # what the program may litter lies beside neither its input nor what it says
        folder, work = Path(own), Path(own) / "work"
        work.mkdir()
        given, answer, said = folder / "in.npz", work / "out.npz", folder / "stderr"
        _write(given, arrays)
        status = _run(name, field, [*words, step, str(given), str(answer)], work, said, limit_s, most_bytes)
        last = _last_line(said)
        if status != 0:
            raise ContractError(name, field, "a program that ends with status 0", f"status {status}{last}")
        if not answer.is_file():
            raise ContractError(name, field, "a program that writes OUT.npz", f"no such file{last}")
        try:
            return _arrays(answer, most_bytes)
        except _Unreadable as error:
            raise ContractError(name, field, "plain arrays in OUT.npz", f"{error}{last}") from None
        except (zipfile.BadZipFile, OSError, EOFError, ValueError, SyntaxError, RuntimeError) as error:
            got = f"a file that is none ({_printable(str(error))}){last}"
            raise ContractError(name, field, "plain arrays in OUT.npz", got) from None


def _run(
    name: str, field: str, words: list[str], work: Path, said: Path, limit_s: float, most_bytes: int
) -> int:
    """The exit status; the program's folder, temporary folder and home are one that is fresh."""
    environment = {key: os.environ[key] for key in _KEPT if key in os.environ}
    environment |= {key: str(work) for key in ("TMPDIR", "TEMP", "TMP", "HOME")}
    environment |= dict.fromkeys(_ONE_THREAD, "1") | {"PYTHONDONTWRITEBYTECODE": "1"}
    with said.open("wb") as errors:
        try:
            program = subprocess.Popen(
                words,
                cwd=work,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=errors,
                start_new_session=True,
            )
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or str(error)
            got = f"{_printable(Path(words[0]).name)}: {why}"
            raise ContractError(name, field, "a program that can be started", got) from None
        try:
            return _watched(name, field, program, work, said, limit_s, most_bytes)
        finally:
            _end(program)


def _watched(
    name: str,
    field: str,
    program: subprocess.Popen[bytes],
    work: Path,
    said: Path,
    limit_s: float,
    most_bytes: int,
) -> int:
    end = time.monotonic() + limit_s
    while not ended(program):
        if time.monotonic() > end:
            raise ContractError(name, field, f"done within {limit_s:g} s", f"no end{_last_line(said)}")
        if _size(work) + _size(said) > most_bytes:
            raise ContractError(name, field, f"content with {most_bytes} bytes", "more of them")
        time.sleep(_LOOK_S)
    return _end(program)


def _end(program: subprocess.Popen[bytes]) -> int:
    """Kill what is left of the program's own process group; its exit status."""
    kill_group(program)
    return program.wait()


def _size(path: Path) -> int:
    if not path.is_dir():
        return path.stat().st_size if path.exists() else 0
    total = 0
    for folder, _, names in os.walk(path):
        for entry in names:
            try:
                total += os.lstat(os.path.join(folder, entry)).st_size
            except OSError:  # gone since
                continue
    return total


def _write(path: Path, arrays: Mapping[str, Array]) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for key, array in arrays.items():
            with archive.open(f"{key}.npy", "w", force_zip64=True) as file:
                np.lib.format.write_array(file, np.asarray(array), allow_pickle=False)


class _Unreadable(Exception):
    """Why OUT.npz cannot be taken."""


def _arrays(path: Path, most_bytes: int) -> dict[str, Array]:
    found: dict[str, Array] = {}
    with zipfile.ZipFile(path) as archive:
        entries = archive.infolist()
        if sum(entry.file_size for entry in entries) > most_bytes:
            raise _Unreadable(f"more than {most_bytes} bytes")
        for entry in entries:
            key = entry.filename.removesuffix(".npy")
            with archive.open(entry) as file:
                version = np.lib.format.read_magic(file)
                if version not in ((1, 0), (2, 0)):
                    raise _Unreadable(f"array {_printable(key)!r} of format {version}")
                read = (
                    np.lib.format.read_array_header_1_0
                    if version == (1, 0)
                    else np.lib.format.read_array_header_2_0
                )
                shape, columns_first, kind = read(file)
                if kind.kind not in "biuf":
                    raise _Unreadable(f"array {_printable(key)!r} of {kind}")
                raw = file.read()  # no longer than the entry says, whatever the header says
            if len(raw) != int(np.prod(shape, dtype=object)) * kind.itemsize:
                raise _Unreadable(f"array {_printable(key)!r} whose shape is not its size")
            values = np.frombuffer(raw, kind.newbyteorder("=") if kind.isnative else kind)
            found[key] = values.reshape(shape, order="F" if columns_first else "C").astype(
                kind.newbyteorder("="), order="C"
            )
    return found


def _last_line(said: Path) -> str:
    """What the program wrote last to standard error, made fit for a message."""
    try:
        with said.open("rb") as file:
            file.seek(max(0, _size(said) - 4096))
            lines = file.read().decode("utf-8", "replace").strip().splitlines()
    except OSError:
        return ""
    return f"; it said: {_printable(_FOLDERS.sub('', lines[-1]))}" if lines else ""


def _printable(text: str) -> str:
    """At most 200 letters, what is no letter escaped: a program's words must not steer a terminal."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text[:200])
