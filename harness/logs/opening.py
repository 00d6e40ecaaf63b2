"""From a path to the two faces of a log."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from harness.errors import CorpusError, UsageError
from harness.logs.files import read_table
from harness.logs.replaying import Logged, LoggedCorpus, replayable
from harness.logs.table import checked

__all__ = ["is_log", "open_log"]

SUFFIXES = (".npz", ".csv")


def is_log(spec: Any) -> bool:
    """Does this name a log of exchanges, perhaps with parameters behind it?"""
    if isinstance(spec, Path):
        return spec.suffix in SUFFIXES
    return (
        isinstance(spec, str)
        and re.fullmatch(r".*?\.(?:npz|csv)(?::[^/]*=.*)?", spec, re.DOTALL) is not None
    )


def open_log(
    path: str | Path,
    *,
    alphabet: int | None = None,
    one_way: bool = True,
    data: str = "recorded",
    scheme: Any = None,
) -> tuple[Logged, LoggedCorpus]:
    """Read a table of finished exchanges.

    Parameters
    ----------
    path : path
        NPZ or CSV, see `harness.logs.files`.
    alphabet : int, optional
        Of witness symbols; None: one more than the greatest seen.
    one_way : bool
        B had no more than its witness and what A published. False: whoever has A's witness need not have
        the key, and beliefs about witnesses stay untested.
    data : "recorded" or "simulated"
    scheme : Scheme, optional
        The scheme that made the log: then its helper data are attacked as it discloses them.

    Raises
    ------
    CorpusError
        If the file is damaged.
    UsageError
        If a parameter cannot be.

    Examples
    --------
    A log without helper data, of four exchanges:

    >>> import numpy as np, tempfile
    >>> bits = np.eye(4, dtype=np.uint8)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     np.savez(f"{folder}/trial.npz", subject=[1, 1, 2, 2], key_a=bits, key_b=bits)
    ...     logged, corpus = open_log(f"{folder}/trial.npz")
    >>> logged.name, logged.key_bits, [s.attempts for s in corpus.sittings()]
    ('trial', 4, [2, 2])
    """
    path = Path(path)
    if data not in ("recorded", "simulated"):
        raise UsageError(f"`data` of a log must be recorded or simulated, got {data!r}")
    if alphabet is not None and (not isinstance(alphabet, int) or not 2 <= alphabet <= 256):
        raise UsageError(f"`alphabet` of a log must be 2 to 256, got {alphabet!r}")
    if not isinstance(one_way, bool):
        raise UsageError(f"`one_way` of a log must be True or False, got {one_way!r}")
    columns, first = read_table(path)
    log = checked(path.name, columns, first=first, alphabet=alphabet)
    slug = re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-") or "log"
    layout = {
        "name": slug,
        "key_bits": log.keys_a.shape[1],
        "symbols": log.a.symbols.shape[1],
        "alphabet": log.a.alphabet,
        "one_way": one_way,
    }
    if scheme is None:
        logged = Logged(**layout)
    else:
        if int(scheme.key_bits) != log.keys_a.shape[1]:
            raise CorpusError(
                f"{path.name} must hold keys of {scheme.key_bits} bits as {scheme.name} makes them, "
                f"got {log.keys_a.shape[1]}"
            )
        logged = replayable(scheme, **layout)
    return logged, LoggedCorpus(name=slug, file=path.name, log=log, data=data)
