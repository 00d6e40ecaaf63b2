"""Numbers that go with single key bits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.detectors.tails import LEVEL, advantage, bits_of, sign_tail

__all__ = ["Tie", "strongest_ties"]

_CHUNK = 4096


@dataclass(frozen=True, slots=True)
class Tie:
    """The strongest ties of numbers to key bits."""

    p: float  # corrected for all pairs
    bits: float  # given away by the best number for each bit; a lower limit
    columns: list[int]  # numbers concerned, the strongest first
    positions: list[int]  # key bits concerned
    hit: float  # how often the best guess from the strongest number is right


def strongest_ties(numbers: Sequence[Array], key_signs: Array, *, centred: bool = True) -> Tie:
    """Every number against every key bit.

    Each number weighs the signs of a key bit: under the null a normalised sum of fair signs, whatever the
    numbers are.

    Parameters
    ----------
    numbers : sequence of (attempts, a) arrays
        Numbered through.
    key_signs : (attempts, k) float of -1 and 1
    centred : bool
        Whether the mean of each number is taken off first. False for numbers that are signs themselves and
        come before the key: then the sum is one of fair signs even if the keys are among the numbers.
    """
    k = key_signs.shape[1]
    best = np.zeros((3, k))  # z, column, mean sign from a guess
    start = 0
    for block in numbers:
        for at in range(0, block.shape[1], _CHUNK):
            x = block[:, at : at + _CHUNK].astype(np.float64)
            x -= x.mean(axis=0) if centred else 0.0
            size = np.sqrt((x**2).sum(axis=0))
            x /= np.where(size > 0, size, 1.0)
            z = np.abs(x.T @ key_signs)
            column = z.argmax(axis=0)
            lean = np.abs((np.sign(x[:, column]) * key_signs).mean(axis=0))
            found = np.stack([z[column, np.arange(k)], column + start, lean])
            best = np.where(found[0] > best[0], found, best)
            start += x.shape[1]
    looks = start * k
    least = sign_tail(best[0]) * looks
    heard = np.flatnonzero(least <= LEVEL)
    order = (
        heard[np.argsort(-np.round(best[0][heard], 6), kind="stable")]
        if len(heard)
        else [int(best[0].argmax())]
    )
    gain = advantage(best[2][heard], len(key_signs), looks)
    return Tie(
        p=float(least.min()),
        bits=float(bits_of(gain).sum()),
        columns=list(dict.fromkeys(int(best[1][i]) for i in order)),
        positions=[int(i) for i in order],
        hit=(1 + float(best[2][order[0]])) / 2,
    )
