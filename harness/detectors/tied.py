"""Numbers that go with single key bits."""

from __future__ import annotations

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


def strongest_ties(numbers: Array, key_signs: Array) -> Tie:
    """Every number against every key bit.

    Each number, less its mean, weighs the signs of a key bit: under the null a normalised sum of fair
    signs, whatever the numbers are.

    Parameters
    ----------
    numbers : (attempts, a) float
    key_signs : (attempts, k) float of -1 and 1
    """
    looks = numbers.shape[1] * key_signs.shape[1]
    best = np.zeros((3, key_signs.shape[1]))  # z, column, mean sign from a guess
    for start in range(0, numbers.shape[1], _CHUNK):
        x = numbers[:, start : start + _CHUNK].astype(np.float64)
        x -= x.mean(axis=0)
        size = np.sqrt((x**2).sum(axis=0))
        x /= np.where(size > 0, size, 1.0)
        z = np.abs(x.T @ key_signs)
        at = z.argmax(axis=0)
        top = z[at, np.arange(z.shape[1])]
        lean = np.abs(((np.sign(x[:, at])) * key_signs).mean(axis=0))
        better = top > best[0]
        best = np.where(better, np.stack([top, at + start, lean]), best)
    least = sign_tail(best[0]) * looks
    heard = np.flatnonzero(least <= LEVEL)
    order = heard[np.argsort(-best[0][heard], kind="stable")] if len(heard) else [int(best[0].argmax())]
    gain = advantage(best[2][heard], len(key_signs), looks)
    return Tie(
        p=float(least.min()),
        bits=float(bits_of(gain).sum()),
        columns=list(dict.fromkeys(int(best[1][i]) for i in order)),
        positions=[int(i) for i in order],
        hit=(1 + float(best[2][order[0]])) / 2,
    )
