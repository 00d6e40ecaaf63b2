"""Whose exchanges a log holds, when they were, and what its columns are called."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from harness.contracts import DEVICE_A, DEVICE_B, Array
from harness.errors import CorpusError
from harness.view import WORDS

__all__ = ["require_named"]

_OWN = frozenset({DEVICE_A, DEVICE_B}) | WORDS


def require_named(name: str, columns: Mapping[str, Array], *, first: int) -> None:
    """Refuse people, sessions, roles and helper arrays that cannot be told apart.

    Parameters
    ----------
    name : str
        How messages call the file.
    columns : mapping
    first : int
        Number of the first row, for messages.

    Raises
    ------
    CorpusError
        On the first violation.
    """
    for column in columns:
        kind, _, given = column.partition(":")
        if kind == "role" and (given in _OWN or re.fullmatch("[a-z0-9]+(-[a-z0-9]+)*", given) is None):
            raise CorpusError(
                f"{name}: a role must be an adversary's, in lower-case letters, digits and hyphens, "
                f"got {given[:40]!r}"
            )
        if kind == "helper" and (not given or not given.isprintable()):
            raise CorpusError(f"{name}: helper data must have a printable name, got {given[:40]!r}")
    for column in ("subject", "session"):
        if column in columns:
            _labels(f"{name}, {column}", columns[column], first)


def _labels(where: str, values: Array, first: int) -> None:
    """Numbers or words in one row, none missing: rows without a name would pass for one person."""
    if values.ndim != 1 or values.dtype.kind not in "buifSU":
        got = f"{values.dtype} of shape {values.shape}"
        raise CorpusError(f"{where}: must be a number or word for each exchange, got {got}")
    missing = ~np.isfinite(values) if values.dtype.kind == "f" else np.char.str_len(values.astype(str)) == 0
    if missing.any():
        at = int(np.flatnonzero(missing)[0])
        raise CorpusError(f"{where}, row {at + first}: must be given in every row, found it empty")
