"""Messages between the harness and a process that is not trusted: one line of JSON, then plain arrays.

Nothing is unpickled, and a message that claims to be longer than the reader allows is not read.
"""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from typing import IO, Any

import numpy as np

from harness.contracts import Array

__all__ = ["get", "put"]

MOST_HEADER = 2**20  # bytes


def put(pipe: IO[bytes], header: dict[str, Any], arrays: Sequence[Array] = ()) -> None:
    """Send one message.

    Raises
    ------
    ValueError
        If an array holds objects.
    """
    bodies = []
    for array in arrays:
        body = io.BytesIO()
        np.save(body, np.asarray(array), allow_pickle=False)
        bodies.append(body.getvalue())
    line = json.dumps({**header, "bytes": [len(body) for body in bodies]}).encode()
    pipe.write(line + b"\n" + b"".join(bodies))
    pipe.flush()


def get(pipe: IO[bytes], *, most: int) -> tuple[dict[str, Any], list[Array]]:
    """Receive one message.

    Parameters
    ----------
    most : int
        Bytes that its arrays may have together.

    Raises
    ------
    EOFError
        If the other side has closed.
    ValueError
        If what came is no message, or holds more than `most`.
    """
    line = pipe.readline(MOST_HEADER)
    if not line:
        raise EOFError("the pipe was closed")
    try:
        header: dict[str, Any] = json.loads(line)
    except RecursionError as error:
        raise ValueError("a message must begin with a line of plain JSON") from error
    sizes = header.pop("bytes", None) if isinstance(header, dict) else None
    if not isinstance(sizes, list) or not all(isinstance(s, int) and s >= 0 for s in sizes):
        raise ValueError("a message must begin with a line of JSON that says how long its arrays are")
    if sum(sizes) > most:
        raise ValueError(f"a message must hold at most {most} bytes, got {sum(sizes)}")
    return header, [_array(pipe, size) for size in sizes]


def _array(pipe: IO[bytes], size: int) -> Array:
    body = pipe.read(size)
    if len(body) < size:
        raise EOFError(f"an array of {size} bytes ended after {len(body)}")
    try:
        array: Array = np.lib.format.read_array(io.BytesIO(body), allow_pickle=False)
    except (EOFError, MemoryError, OverflowError) as error:
        raise ValueError(f"not a plain array: {error}") from error
    return array
