"""From lists of witnesses to lists of keys, by the attacker's copy of device B."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from harness.contracts import Array, Helper, Witness

__all__ = ["even", "keys_of"]


def even(lists: Sequence[Array]) -> Array:
    """(attempts, g, ...): lists of different lengths as one array; shorter ones repeat their last."""
    longest = max(map(len, lists))
    return np.stack(
        [np.concatenate([some, np.repeat(some[-1:], longest - len(some), axis=0)]) for some in lists]
    )


def keys_of(scheme: Any, helper: Helper, tried: Array, alphabet: int) -> Array:
    """What device B would make of each witness.

    Parameters
    ----------
    scheme : Scheme
    helper : mapping
        Of the attempts.
    tried : (attempts, g, m) int
    alphabet : int

    Returns
    -------
    (attempts, g, key_bits) uint8
    """
    rows, count, symbols = tried.shape
    witness = Witness(
        symbols=tried.reshape(rows * count, symbols).astype(np.uint8),
        alphabet=alphabet,
        acquired=np.ones(rows * count, bool),
    )
    repeated = {name: np.repeat(array, count, axis=0) for name, array in helper.items()}
    keys, accepted = scheme.reproduce(witness, repeated)
    keys = np.asarray(keys).reshape(rows, count, -1)
    kept = np.asarray(accepted, bool).reshape(rows, count)
    return even([_worth_trying(*pair) for pair in zip(keys, kept, strict=True)])


def _worth_trying(keys: Array, accepted: Array) -> Array:
    """Keys of accepted witnesses, each once, in their order; all if none was accepted."""
    some = keys[accepted] if accepted.any() else keys
    _, first = np.unique(some, axis=0, return_index=True)
    return np.asarray(some[np.sort(first)])
