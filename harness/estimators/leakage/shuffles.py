"""Shuffles of attempts inside each subject, and how often two tables agree under them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData

__all__ = ["agreement", "several_attempts", "shuffles", "weighed"]

_AT_ONCE = 1 << 22  # bytes of a batch of shuffles that stay in cache


def several_attempts(subject: Array) -> Array:
    """Rows of people with two attempts or more, one person after the other.

    Raises
    ------
    InsufficientData
        If no subject has two attempts.
    """
    people, sizes = np.unique(subject, return_counts=True)
    mine = np.flatnonzero(np.isin(subject, people[sizes > 1]))
    if not len(mine):
        raise InsufficientData(
            "a within-subject permutation test needs two attempts of one subject, got none"
        )
    return mine[np.argsort(subject[mine], kind="stable")]


def shuffles(group: Array, repetitions: int, rng: np.random.Generator) -> Array:
    """(1 + repetitions, rows) indices: the order as it is, then shuffles inside runs of equal groups."""
    index = np.unique(group, return_inverse=True)[1].ravel()
    # a whole number and a share of one: sorting keeps groups together and shuffles inside
    order = np.argsort(index + rng.random((repetitions, len(group))), axis=1)
    return np.concatenate([np.arange(len(group))[None], order])


def agreement(told: Array, true: Array, group: Array, orders: Array) -> Array:
    """How many rows agree in each column, under each order of the true ones, (orders, columns) int.

    Rows of a subject meet only each other. So whether a pair agrees is looked up once, packed in bits, and
    counted by adders of whole words, 64 columns at a time.

    Parameters
    ----------
    told, true : (rows, columns) int
    group : (rows,) int
        Equal values stand together.
    orders : (orders, rows) int
        Of `shuffles`.
    """
    rows, columns = told.shape
    _, start, index, size = np.unique(group, return_index=True, return_inverse=True, return_counts=True)
    first = start[index.ravel()]
    place = np.minimum(first[:, None] + np.arange(size.max()), rows - 1)
    words = -(-columns // 64)
    pairs = np.zeros((*place.shape, words * 8), np.uint8)
    packed = np.packbits(told[:, None, :] == true[place], axis=2, bitorder="little")
    pairs[:, :, : packed.shape[2]] = packed
    met = pairs.view(np.uint64)
    out = np.empty((len(orders), columns), np.int64)
    for some in _batches(len(orders), rows * words * 8):
        slot = orders[some].T - first[:, None]
        out[some] = _counted(met[np.arange(rows)[:, None], slot])[:, :columns]
    return out


def _counted(words: Array) -> Array:
    """(orders, bits): set bits over axis 0 of (rows, orders, words), by adding halves."""
    planes = [words]
    while len(planes[0]) > 1:
        if len(planes[0]) % 2:
            planes = [np.concatenate([p, np.zeros_like(p[:1])]) for p in planes]
        half = len(planes[0]) // 2
        planes = _added([p[:half] for p in planes], [p[half:] for p in planes])
    set_bits = (np.unpackbits(p[0].view(np.uint8), axis=-1, bitorder="little") for p in planes)
    return np.asarray(sum(bits.astype(np.int64) << i for i, bits in enumerate(set_bits)))


def _added(some: list[Array], others: list[Array]) -> list[Array]:
    """Numbers in bit planes, least first, each added to its partner."""
    carry, planes = np.zeros_like(some[0]), []
    for p, q in zip(some, others, strict=True):
        half = p ^ q
        planes.append(half ^ carry)
        carry = (p & q) | (half & carry)
    return [*planes, carry]


def weighed(scores: Array, bits: Array, orders: Array) -> Array:
    """Sum over rows of score times bit, under each order of the bits, (orders, columns) float."""
    out = np.empty((len(orders), scores.shape[1]))
    for some in _batches(len(orders), bits[0].nbytes * len(bits)):
        out[some] = np.einsum("nk,bnk->bk", scores, bits[orders[some]])
    return out


def _batches(count: int, each: int) -> Iterator[slice]:
    size = max(1, _AT_ONCE // max(1, each))
    for start in range(0, count, size):
        yield slice(start, start + size)
