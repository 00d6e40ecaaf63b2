"""Numbers that go with single key bits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.detectors.people import by_person, worth
from harness.detectors.tails import TOLD, advantage, bits_of, sign_tail

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
    alike: int  # people in whose keys the strongest number points the same way as in all keys
    people: int

    @property
    def heard(self) -> bool:
        return self.p <= TOLD

    @property
    def told(self) -> str:
        """How often the strongest is right, and for how many people."""
        return f"in up to {self.hit:.1%} of keys, the same way in {self.alike} of {self.people} people"


def strongest_ties(
    numbers: Sequence[Array], key_signs: Array, subject: Array, *, centred: bool = True
) -> Tie:
    """Every number against every key bit.

    Each number weighs the signs of a key bit: under the null a normalised sum of fair signs, whatever the
    numbers are.

    Parameters
    ----------
    numbers : sequence of (attempts, a) arrays
        Numbered through.
    key_signs : (attempts, k) float of -1 and 1
    subject : (attempts,) int
        A mask that stays with a person ties helper data and key one way in some people and the other way in
        others. So p and the effect count as many keys as the strongest number's ties are worth.
    centred : bool
        Whether the mean of each number is taken off first. False for numbers that are signs themselves and
        come before the key: then the sum is one of fair signs even if the keys are among the numbers.
    """
    n, k = key_signs.shape
    best, column = np.zeros(k), np.zeros(k, int)
    guess = np.zeros((n, k))
    start = 0
    for block in numbers:
        for at in range(0, block.shape[1], _CHUNK):
            x = block[:, at : at + _CHUNK].astype(np.float64)
            x -= x.mean(axis=0) if centred else 0.0
            size = np.sqrt((x**2).sum(axis=0))
            x /= np.where(size > 0, size, 1.0)
            z = x.T @ key_signs
            top = np.abs(z).argmax(axis=0)
            found = z[top, np.arange(k)]
            better = np.abs(found) > best
            best[better], column[better] = np.abs(found[better]), top[better] + start
            guess[:, better] = np.sign(x[:, top[better]]) * np.sign(found[better])
            start += x.shape[1]
    looks = start * k
    right = guess * key_signs
    total, count = by_person(right, subject)
    rows = worth(total, count)
    least = sign_tail(best * np.sqrt(rows / n)) * looks
    heard = np.flatnonzero(least <= TOLD)
    order = heard[np.argsort(least[heard], kind="stable")] if len(heard) else np.array([least.argmin()])
    lean = np.maximum(right[:, order].mean(axis=0), 0.0)
    gain = advantage(lean, rows[order], looks)
    return Tie(
        p=float(least.min()),
        bits=float(bits_of(gain).sum()) if len(heard) else 0.0,
        columns=list(dict.fromkeys(column[order].tolist())),
        positions=order.tolist(),
        hit=(1 + float(lean[0])) / 2,
        alike=int((total[:, order[0]] > 0).sum()),
        people=len(total),
    )
