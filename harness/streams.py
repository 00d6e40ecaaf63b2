"""Named random streams: the same names give the same numbers, whatever else is running."""

from __future__ import annotations

import hashlib

import numpy as np

__all__ = ["stream"]


def stream(seed: int, *names: str | int | bytes) -> np.random.Generator:
    """Return the generator that belongs to `names` under `seed`.

    Streams are named, not counted, so that one attack or scheme more changes nobody else's
    numbers. The hash is one-way: a plug-in that is handed a generator cannot compute
    from it the seed or another stream.

    Parameters
    ----------
    seed : int
        The run's seed, at least 0.
    *names : str, int or bytes
        What the numbers are for, e.g. ``"simulate", subject, session``.

    Returns
    -------
    numpy.random.Generator

    Raises
    ------
    ValueError
        If the seed is negative or no name is given.

    Examples
    --------
    >>> float(stream(0, "a").random()) == float(stream(0, "a").random())
    True
    >>> float(stream(0, "a").random()) == float(stream(0, "b").random())
    False
    """
    if seed < 0:
        raise ValueError(f"`seed` must be at least 0, got {seed}")
    if not names:
        raise ValueError("a stream must have at least one name, got none")
    digest = hashlib.sha256(b"keyassay-stream")
    for part in (seed, *names):
        # kind and length stand before each part, so that ("a", "bc") and ("ab", "c") differ
        kind, raw = _encode(part)
        digest.update(kind + len(raw).to_bytes(8, "big") + raw)
    words = np.frombuffer(digest.digest(), dtype=">u4").astype(np.uint32)
    return np.random.Generator(np.random.PCG64DXSM(np.random.SeedSequence(words.tolist())))


def _encode(part: str | int | bytes) -> tuple[bytes, bytes]:
    if isinstance(part, bytes):
        return b"b", part
    if isinstance(part, str):
        return b"s", part.encode()
    return b"i", str(int(part)).encode()
