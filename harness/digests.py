"""Digests of what ran, and of what came of it attempt by attempt: a replay is told from a lookalike."""

from __future__ import annotations

import hashlib
import inspect
import json
from collections.abc import Iterable
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.exchange import Honest
from harness.plugins import file_of, parameters_of
from harness.score import Scores

__all__ = ["exchange_digest", "file_digest", "plugin_digest", "scores_digest"]


def exchange_digest(honest: Honest) -> str:
    """SHA-256 of everything that A and B did and published, without the time it took."""
    own = {
        "a": honest.a.symbols,
        "a-acquired": honest.a.acquired,
        "b": honest.b.symbols,
        "b-acquired": honest.b.acquired,
        "keys-a": honest.keys_a,
        "keys-b": honest.keys_b,
        "accepted": honest.accepted,
    }
    helper = [(f"helper {name}", honest.helper[name]) for name in sorted(honest.helper)]
    return _of_arrays([*own.items(), *helper])


def scores_digest(scores: Scores) -> str:
    """SHA-256 of where the true key stood for one adversary, row by row."""
    ranks = scores.ranks
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high", "surprise")
    arrays = [("attempt", scores.attempt), ("attacker", scores.attacker)]
    arrays += [(name, getattr(ranks, name)) for name in names]
    arrays.append(("work", np.array(ranks.work)))
    if scores.gain is not None:
        arrays.append(("gain", scores.gain))
    return _of_arrays(arrays)


def plugin_digest(value: Any) -> str | None:
    """SHA-256 of a plug-in's source file and parameters; None where there is no source to read."""
    try:
        source = inspect.getsource(inspect.getmodule(type(value)) or type(value))
    except (OSError, TypeError):
        return None
    # the name is a label: renaming a scheme changes nothing
    parameters = {k: v for k, v in parameters_of(value).items() if k != "name"}
    text = json.dumps([type(value).__qualname__, parameters], sort_keys=True)
    return hashlib.sha256(f"{text}\n{source}".encode("utf-8", "backslashreplace")).hexdigest()


def file_digest(spec: str) -> str | None:
    """SHA-256 of a stranger's file and its parameters, read but never imported; None if it is no file."""
    written = file_of(spec)
    if written is None or not written[0].is_file():
        return None
    path, rest = written
    return hashlib.sha256(f"{rest}\n".encode() + path.read_bytes()).hexdigest()


def _of_arrays(arrays: Iterable[tuple[str, Array]]) -> str:
    digest = hashlib.sha256()
    for name, array in arrays:
        # kind and shape stand in front, so that no two sets of arrays run together
        digest.update(f"{name} {array.dtype.str} {array.shape}\n".encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()
