"""Schemes that are a program, in any language, which reads and writes NPZ files.

The program is called as ``WORDS STEP IN.npz OUT.npz``, once for a whole batch of attempts, in a fresh
folder that is also its home and its place for temporary files and is removed afterwards. It must end with
status 0 within its time limit. IN.npz and OUT.npz hold plain arrays, axis 0 being the attempt:

=============  ==========================  =======================  ====================================
step           array                       type                     shape
=============  ==========================  =======================  ====================================
``witness``    in: ``samples``             float64                  (attempts, channels, samples); a
                                                                    shorter attempt ends in NaN
..             in: ``rate_hz``             float64                  (); NaN for intervals and events
..             out: ``symbols``            whole numbers            (attempts, symbols), below alphabet
..             out: ``acquired``           bool or 0 and 1          (attempts,); 0: no usable witness
..             out, if any: ``features``   float64                  (attempts, symbols, any)
``generate``   in: ``symbols``,            uint8, bool, float64     as above
               ``acquired``, ``features``
..             in: ``seed``                uint32                   (8,); all of A's randomness
..             out: ``keys``               0 and 1                  (attempts, key_bits), a bit each
..             out: ``helper.NAME``        numbers                  (attempts, ...); what is published
``reproduce``  in: ``symbols``,            as above                 B's own
               ``acquired``, ``features``
..             in: ``helper.NAME``         as written               what A published
..             out: ``keys``               0 and 1                  (attempts, key_bits)
..             out: ``accepted``           bool or 0 and 1          (attempts,)
=============  ==========================  =======================  ====================================

In IN.npz no array is compressed; OUT.npz may be. Row i of ``witness`` and ``reproduce`` must depend on row
i alone, and ``generate`` on nothing but its input.

A's and B's calls are separate processes which are handed nothing of each other but the helper data. But no
wall keeps the program from writing files elsewhere, from reading what others left, or from the
network: it runs as the user who runs the audit. A fresh folder and home for every call keep an honest
program from remembering by accident, and nothing more. Run only what you would run otherwise.

Nothing is known of what the helper data of a program say, so the harness cannot attack them exactly: it
puts likely witnesses through ``reproduce``.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from harness.contracts import Array, Capture, Helper, Witness
from harness.errors import ContractError
from harness.plugins import nearest
from schemes.npz_calls import call_program
from schemes.quantisers.checks import number, whole_number

__all__ = ["Commanded", "commanded"]

_HELPER = "helper."
_NEEDED = ("name", "signal", "key_bits", "alphabet", "symbols", "command.run")
_LIMIT_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Commanded:
    """A program that reads and writes NPZ files; see `commanded`."""

    name: str
    signal: str
    key_bits: int
    alphabet: int
    symbols: int
    run: tuple[str, ...]  # as written
    limit_s: float = _LIMIT_S
    digest: str  # SHA-256 of the files that `run` names
    summary: str = field(default="", compare=False, repr=False)
    folder: Path = field(repr=False, compare=False)
    words: tuple[str, ...] = field(repr=False)  # `run` with the files found

    whole_batches = True  # every call is a process: callers had better ask for many attempts at once

    @property
    def parameters(self) -> dict[str, Any]:
        """Every parameter by its dotted name, for records and sweeps; and a digest of the program."""
        run = tuple(Path(word).name if Path(word).is_absolute() else word for word in self.run)
        return {**self._settings(), "command.run": run, "command.digest": self.digest}

    def with_parameters(self, **changes: Any) -> Commanded:
        """The same program with other parameters, by dotted name, or another `name`."""
        kept = {"name": self.name, "signal": self.signal, **self._settings()}
        return commanded(kept, folder=self.folder, summary=self.summary, **changes)

    def witness(self, capture: Capture) -> Witness:
        """What the program makes of a capture, (attempts, symbols)."""
        if capture.signal != self.signal:
            raise ValueError(
                f"{self.name} must be given a capture of {self.signal!r}, got {capture.signal!r}"
            )
        rate = np.array(np.nan if capture.rate_hz is None else capture.rate_hz, np.float64)
        found = self._call("witness", {"samples": capture.samples, "rate_hz": rate})
        rows = len(capture.samples)
        symbols = self._small(found, "witness", "symbols", (rows, self.symbols), self.alphabet)
        acquired = self._small(found, "witness", "acquired", (rows,), 2).astype(np.bool_)
        features = found.get("features")
        if features is not None:
            features = self._features(features, rows, acquired)
        return Witness(symbols=symbols, alphabet=self.alphabet, acquired=acquired, features=features)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits) uint8, and what the program publishes."""
        seed = rng.integers(0, 2**32, 8, dtype=np.uint32)
        found = self._call("generate", {**_told(witness), "seed": seed})
        rows = len(witness.symbols)
        helper = {k.removeprefix(_HELPER): v for k, v in found.items() if k.startswith(_HELPER)}
        for key, value in helper.items():
            if value.ndim == 0 or len(value) != rows or not np.isfinite(value).all():
                got = f"{value.dtype} of shape {value.shape}"
                raise ContractError(
                    self.name, f"generate(): {_HELPER}{key}", f"finite, with {rows} rows", got
                )
        return self._small(found, "generate", "keys", (rows, self.key_bits), 2), helper

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys, and accepted (attempts,)."""
        sent = {_HELPER + key: value for key, value in helper.items()}
        found = self._call("reproduce", {**_told(witness), **sent})
        rows = len(witness.symbols)
        keys = self._small(found, "reproduce", "keys", (rows, self.key_bits), 2)
        accepted = self._small(found, "reproduce", "accepted", (rows,), 2).astype(np.bool_)
        return keys, accepted

    def _settings(self) -> dict[str, Any]:
        settings = {key: getattr(self, key) for key in ("key_bits", "alphabet", "symbols")}
        return {**settings, "command.run": self.run, "command.limit_s": self.limit_s}

    def _call(self, step: str, arrays: Mapping[str, Array]) -> dict[str, Array]:
        return call_program(self.name, self.words, step, arrays, limit_s=self.limit_s)

    def _small(
        self, found: Mapping[str, Array], step: str, key: str, shape: tuple[int, ...], below: int
    ) -> Array:
        """An array of whole numbers below `below`, as uint8."""
        wanted = f"whole numbers of shape {shape} from 0 to {below - 1}"
        value = found.get(key)
        if value is None:
            there = ", ".join(repr(k)[1:-1][:40] for k in found) or "no arrays"
            raise ContractError(self.name, f"{step}(): {key}", wanted, f"OUT.npz without it, with {there}")
        kind = f"{value.dtype} of shape {value.shape}"
        if value.shape != shape or value.dtype.kind not in "biu":
            raise ContractError(self.name, f"{step}(): {key}", wanted, kind)
        if value.size and (value.min() < 0 or value.max() >= below):
            worst = value.max() if value.max() >= below else value.min()
            raise ContractError(self.name, f"{step}(): {key}", wanted, f"the value {worst}")
        return value.astype(np.uint8)

    def _features(self, value: Array, rows: int, acquired: Array) -> Array:
        wanted = f"numbers of shape ({rows}, {self.symbols}, any)"
        if value.ndim != 3 or value.shape[:2] != (rows, self.symbols):
            got = f"{value.dtype} of shape {value.shape}"
            raise ContractError(self.name, "witness(): features", wanted, got)
        features = value.astype(np.float64)
        if not np.isfinite(features[acquired]).all():
            raise ContractError(
                self.name, "witness(): features", "finite where acquired", "a NaN or infinite value"
            )
        return features


def commanded(tree: Mapping[str, Any], *, folder: Path, summary: str = "", **changes: Any) -> Commanded:
    """The scheme of a program.

    Parameters
    ----------
    tree : mapping
        "name", "signal", "key_bits", "alphabet" and "symbols" of a witness, and "command" with "run", the
        program and its first arguments, and, if not 60, "limit_s" for one call.
    folder : Path
        Words of "run" that name a file in it stand for that file.
    summary : str
        What it is, in a line.
    **changes
        Other values of the same, by dotted name.

    Raises
    ------
    ValueError
        One sentence, if something is unknown, missing, or cannot be, or there is no such program.
    """
    flat: dict[str, Any] = {}
    for key, value in tree.items():
        inner = value.items() if isinstance(value, Mapping) else ()
        flat |= {f"{key}.{k}": v for k, v in inner} if isinstance(value, Mapping) else {key: value}
    flat = {"command.limit_s": _LIMIT_S, **flat, **changes}
    for label in flat:
        if label not in (*_NEEDED, "command.limit_s"):
            known = [*_NEEDED, "command.limit_s"]
            raise ValueError(f"there is no parameter {label!r} of a command; {nearest(label, known)}")
    for label in _NEEDED:
        if label not in flat:
            raise ValueError(f"{label!r} must be given, found {', '.join(flat)}")
    for label in ("name", "signal"):
        if not isinstance(flat[label], str):
            raise ValueError(f"`{label}` must be a word in quotes, got {flat[label]!r}")
    for label, low, high in (("key_bits", 1, 2**16), ("alphabet", 2, 256), ("symbols", 1, 2**20)):
        whole_number(label, flat[label], low, high)
    number("command.limit_s", flat["command.limit_s"], positive=True)
    run = flat["command.run"]
    if not isinstance(run, list | tuple) or not run or not all(isinstance(w, str) and w for w in run):
        raise ValueError(f"`command.run` must be a list of words, the program first, got {run!r}")
    words = _found(run, folder)
    return Commanded(
        name=flat["name"],
        signal=flat["signal"],
        key_bits=flat["key_bits"],
        alphabet=flat["alphabet"],
        symbols=flat["symbols"],
        run=tuple(run),
        limit_s=float(flat["command.limit_s"]),
        digest=_digest(words),
        summary=summary,
        folder=folder,
        words=words,
    )


def _found(run: Sequence[str], folder: Path) -> tuple[str, ...]:
    """The words, those that name a file beside the scheme's file or the program itself as whole paths."""
    words = [str(folder / word) if (folder / word).is_file() else word for word in run]
    program = shutil.which(words[0])
    if program is None:
        raise ValueError(f"`command.run` must begin with a program that can be run, got {run[0]!r}")
    return (program, *words[1:])


def _digest(words: Sequence[str]) -> str:
    """SHA-256 of the files named, so that another build is another scheme."""
    whole = hashlib.sha256()
    for word in words:
        path = Path(word)
        if path.is_file():
            whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()


def _told(witness: Witness) -> dict[str, Array]:
    told = {"symbols": witness.symbols, "acquired": witness.acquired}
    return told if witness.features is None else {**told, "features": witness.features}
