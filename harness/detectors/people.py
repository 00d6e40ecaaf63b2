"""Keys of one person may be alike: how many independent keys an effect rests on."""

from __future__ import annotations

import numpy as np
from scipy.special import betainc

from harness.contracts import Array

__all__ = ["by_person", "hit_tail", "worth"]


def by_person(values: Array, subject: Array) -> tuple[Array, Array]:
    """(people, columns) sums of each person's rows, and (people,) how many rows they are."""
    person = np.unique(subject, return_inverse=True)[1].ravel()
    count = np.bincount(person)
    if (np.diff(person) >= 0).all():
        start = np.concatenate([[0], np.cumsum(count)[:-1]])
        return np.add.reduceat(values, start, axis=0), count
    total = np.zeros((len(count), values.shape[1]))
    np.add.at(total, person, values)
    return total, count


def worth(total: Array, count: Array) -> Array:
    """Independent signs that the mean of signs is worth, between people and rows, (columns,).

    Rows, divided by how much more sums differ between people than sums of independent signs would. What
    points one way in some people and the other way in others, such as a mask that stays with the person, is
    worth little more than a sign of each.

    Parameters
    ----------
    total : (people, columns) float
        Sums of signs of each person.
    count : (people,) int

    Examples
    --------
    >>> alike = np.full((10, 1), 4.0)  # 7 of 10 in everybody
    >>> masked = np.array([[10.0]] * 7 + [[-10.0]] * 3)  # all in seven people, none in three
    >>> [float(worth(x, np.full(10, 10)).round(1)[0]) for x in (alike, masked)]
    [100.0, 10.0]
    """
    n = float(count.sum())
    mean = total.sum(axis=0) / n
    spread = ((total - count[:, None] * mean) ** 2).sum(axis=0)
    alone = n * np.maximum(1 - mean**2, 1e-9)
    return np.asarray(np.clip(n * alone / np.maximum(spread, 1e-9), min(n, len(count)), n))


def hit_tail(share: Array, rows: Array) -> Array:
    """Chance of at least a share of hits in so many fair cases: the binomial tail, read between numbers.

    With as many rows as were tried it is exact; with fewer it is larger.
    """
    hits = np.maximum(np.asarray(share) * rows, 1e-9)
    return np.asarray(betainc(hits, np.maximum(rows - hits, 0.0) + 1, 0.5))
