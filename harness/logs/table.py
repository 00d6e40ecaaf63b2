"""A log of finished exchanges, checked."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from harness.contracts import ABORTED, Array, Helper, Witness
from harness.errors import CorpusError
from harness.logs.naming import require_named

__all__ = ["Log", "checked"]

_KNOWN = frozenset(
    {"subject", "session", "witness_a", "witness_b", "key_a", "key_b", "accepted", "seconds"}
)
MOST_SYMBOL = 2**31  # far beyond any alphabet, and a whole number in every type


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Log:
    """Finished exchanges, sorted by subject and session; axis 0 is the exchange."""

    subject: Array  # (rows,) int pseudonyms
    session: Array  # (rows,) int, in the order of time
    a: Witness
    b: Witness
    keys_a: Array  # (rows, key_bits) uint8
    keys_b: Array
    accepted: Array  # (rows,) bool
    helper: Helper
    seconds: Array  # (rows,) 0 where nobody wrote it down
    derived: Mapping[str, Witness]  # by adversary role
    remarks: tuple[str, ...]  # what was taken for granted
    digest: str


def checked(name: str, columns: Mapping[str, Array], *, first: int, alphabet: int | None) -> Log:
    """Turn columns into a log.

    Parameters
    ----------
    name : str
        How messages call the file.
    columns : mapping
        From `read_table`, or arrays by the same names.
    first : int
        Number of the first row, for messages.
    alphabet : int, optional
        Of witness symbols. None: one more than the greatest that anybody had.

    Raises
    ------
    CorpusError
        On the first violation: what must be, what was found where.
    """
    unknown = sorted(c for c in columns if c not in _KNOWN and not c.startswith(("helper:", "role:")))
    if unknown:
        raise CorpusError(
            f"{name} must hold {', '.join(sorted(_KNOWN))}, helper:NAME and role:NAME only, "
            f"got {unknown[0]!r}"
        )
    if "subject" not in columns:
        raise CorpusError(f"{name} must say in `subject` whose exchange each row is, found no such column")
    require_named(name, columns, first=first)
    rows = len(columns["subject"])
    for column, values in columns.items():
        if values.ndim == 0 or len(values) != rows:
            got = f"shape {values.shape}"
            raise CorpusError(f"{name}, {column}: must have {rows} rows as `subject` has, got {got}")
    remarks: list[str] = []
    whole = _with_both(name, columns, remarks)
    order = _order(whole)
    subject, session = _numbered(whole, order)
    symbols = {
        column: _symbols(f"{name}, {column}", values, first)
        for column, values in whole.items()
        if column.startswith(("witness_", "role:"))
    }
    greatest = max(int(s.max(initial=0)) for s, _ in symbols.values())
    q = max(2, greatest + 1) if alphabet is None else alphabet
    if greatest >= q or q > 256:
        raise CorpusError(
            f"{name}: symbols must lie below the alphabet, at most 256, got {greatest} of {q}"
        )
    width = symbols["witness_a"][0].shape[1]
    for column, (values, _) in symbols.items():
        if values.shape[1] != width:
            raise CorpusError(
                f"{name}, {column}: must hold {width} symbols a row as witness_a does, "
                f"got {values.shape[1]}"
            )

    def witness(column: str) -> Witness:
        values, there = symbols[column]
        return Witness(symbols=values[order].astype(np.uint8), alphabet=q, acquired=there[order])

    keys = {side: _bits(f"{name}, key_{side}", whole[f"key_{side}"], first) for side in ("a", "b")}
    if keys["a"][0].shape != keys["b"][0].shape:
        shapes = " and ".join(str(k[0].shape) for k in keys.values())
        raise CorpusError(f"{name}: key_a and key_b must be alike, got {shapes}")
    held = {side: keys[side][1][order] for side in keys}
    helper = {
        column.removeprefix("helper:"): _helper(f"{name}, {column}", values)[order]
        for column, values in whole.items()
        if column.startswith("helper:")
    }
    a, b = witness("witness_a"), witness("witness_b")
    if ABORTED in helper:
        flags = whole[f"helper:{ABORTED}"]
        helper[ABORTED] = _flags(f"{name}, helper:{ABORTED}", flags, first)[order]
    if not held["a"][a.acquired].all():
        helper[ABORTED] = ~held["a"] | helper.get(ABORTED, np.zeros(rows, bool))
    equal = (keys["a"][0] == keys["b"][0]).all(axis=1)[order]
    if "accepted" in whole:
        accepted = _flags(f"{name}, accepted", whole["accepted"], first)[order]
    else:
        accepted = equal & held["b"]
        remarks.append("B is taken to have accepted where its key is A's: the log does not say")
    return Log(
        subject=subject,
        session=session,
        a=a,
        b=b,
        keys_a=keys["a"][0][order],
        keys_b=keys["b"][0][order],
        accepted=accepted & held["b"],
        helper=helper,
        seconds=_seconds(f"{name}, seconds", whole.get("seconds"), rows, first)[order],
        derived={c.removeprefix("role:"): witness(c) for c in sorted(symbols) if c.startswith("role:")},
        remarks=tuple(remarks),
        digest=_digest(columns, q),
    )


def _with_both(name: str, columns: Mapping[str, Array], remarks: list[str]) -> dict[str, Array]:
    """Witnesses and keys; where only one of the two was written down it stands for the other."""
    whole = dict(columns)
    for kind in ("witness", "key"):
        sides = [f"{kind}_{s}" for s in ("a", "b") if f"{kind}_{s}" in whole]
        if len(sides) == 1:
            raise CorpusError(f"{name} must hold {kind}_a and {kind}_b or neither, got {sides[0]} alone")
    if "witness_a" not in whole and "key_a" not in whole:
        raise CorpusError(f"{name} must hold witness_a and witness_b, or key_a and key_b, found neither")
    for there, absent in (("witness", "key"), ("key", "witness")):
        if f"{absent}_a" not in whole:
            whole |= {f"{absent}_{s}": whole[f"{there}_{s}"] for s in ("a", "b")}
            remarks.append(f"{there} bits are taken for {absent} bits: the log holds no {absent}")
    return whole


def _order(columns: Mapping[str, Array]) -> Array:
    subject = np.unique(columns["subject"], return_inverse=True)[1].ravel()
    session = columns.get("session")
    place = (
        np.zeros(len(subject)) if session is None else np.unique(_sorting(session), return_inverse=True)[1]
    )
    return np.lexsort((place.ravel(), subject))


def _sorting(values: Array) -> Array:
    """Numbers in their order where all are numbers, else words in theirs."""
    try:
        return values.astype(float)
    except ValueError:
        return values


def _numbered(columns: Mapping[str, Array], order: Array) -> tuple[Array, Array]:
    subject = np.unique(columns["subject"], return_inverse=True)[1].ravel()[order]
    if "session" not in columns:
        return subject, np.zeros(len(subject), np.intp)
    return subject, np.unique(_sorting(columns["session"]), return_inverse=True)[1].ravel()[order]


def _matrix(where: str, values: Array, first: int) -> tuple[Array, Array]:
    """Whole numbers (rows, width), and which rows hold any: -1 or NaN throughout is none."""
    if values.ndim != 2 or values.dtype.kind not in "buif":
        got = f"{values.dtype} of shape {values.shape}"
        raise CorpusError(f"{where}: must be numbers, a row for each exchange, got {got}")
    if values.shape[1] == 0:
        raise CorpusError(f"{where}: must hold something in at least one row, got nothing")
    real = values.astype(float)
    there = np.isfinite(real).all(axis=1) & (real >= 0).all(axis=1)
    none = (np.isnan(real) | (real < 0)).all(axis=1)
    odd = np.flatnonzero(~there & ~none)
    if len(odd):
        raise CorpusError(f"{where}, row {odd[0] + first}: must be given whole or left empty")
    return np.where(there[:, None], real, 0.0), there


def _symbols(where: str, values: Array, first: int) -> tuple[Array, Array]:
    real, there = _matrix(where, values, first)
    odd = np.flatnonzero(((np.rint(real) != real) | (real >= MOST_SYMBOL)).any(axis=1))
    if len(odd):
        raise CorpusError(f"{where}, row {odd[0] + first}: must hold whole numbers below {MOST_SYMBOL}")
    return real.astype(np.int64), there


def _bits(where: str, values: Array, first: int) -> tuple[Array, Array]:
    whole, there = _symbols(where, values, first)
    odd = np.flatnonzero((whole > 1).any(axis=1))
    if len(odd):
        raise CorpusError(f"{where}, row {odd[0] + first}: must hold bits, got {int(whole[odd[0]].max())}")
    return whole.astype(np.uint8), there


def _helper(where: str, values: Array) -> Array:
    if values.dtype.kind not in "buif" or (values.dtype.kind == "f" and not np.isfinite(values).all()):
        raise CorpusError(f"{where}: must hold finite numbers in every row, got {values.dtype}")
    whole = values.dtype.kind != "f" or (values == np.rint(values)).all()
    least, most = float(values.min(initial=0)), float(values.max(initial=0))
    if whole and least >= 0 and most < 256:  # however wide they were written down
        return values.astype(np.uint8)
    return values.astype(np.int64) if whole and max(-least, most) < 2**53 else values


def _flags(where: str, values: Array, first: int) -> Array:
    real = np.asarray(values, float) if values.dtype.kind in "buif" else np.full(len(values), np.nan)
    odd = np.flatnonzero(~np.isin(real, (0.0, 1.0))) if real.ndim == 1 else np.zeros(1, int)
    if len(odd):
        raise CorpusError(f"{where}, row {odd[0] + first}: must be 0 or 1, got {values[odd[0]]!r}")
    return real.astype(bool)


def _seconds(where: str, values: Array | None, rows: int, first: int) -> Array:
    if values is None:
        return np.zeros(rows)
    real: Any = np.asarray(values, float) if values.dtype.kind in "buif" else np.full(rows, np.nan)
    odd = np.flatnonzero(~(np.isfinite(real) & (real > 0))) if real.ndim == 1 else np.zeros(1, int)
    if len(odd):
        raise CorpusError(f"{where}, row {odd[0] + first}: must be above 0, got {values[odd[0]]!r}")
    return np.asarray(real)


def _digest(columns: Mapping[str, Array], alphabet: int) -> str:
    total = hashlib.sha256(f"keyassay-log {alphabet}".encode())
    for name in sorted(columns):
        values = np.ascontiguousarray(columns[name])
        total.update(f"{name} {values.dtype.str} {values.shape}".encode())
        total.update(values.tobytes())
    return total.hexdigest()
