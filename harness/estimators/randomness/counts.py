"""Tests that count ones, in all, by blocks, by runs and by sums (SP 800-22 §2.1–2.4, 2.13)."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.special import erfc, gammaincc, ndtr

from harness.contracts import Array
from harness.estimators.randomness.bits import require_bits, require_figures, require_size

__all__ = [
    "block_frequency",
    "cumulative_sums",
    "frequency",
    "longest_run",
    "longest_run_chances",
    "runs",
]

_LONGEST = (  # least n, block, shortest class, chances of the classes as the standard prints them
    (750_000, 10_000, 10, (0.0882, 0.2092, 0.2483, 0.1933, 0.1208, 0.0675, 0.0727)),
    (6_272, 128, 4, (0.1174, 0.2430, 0.2493, 0.1752, 0.1027, 0.1124)),
    (128, 8, 1, (0.2148, 0.3672, 0.2305, 0.1875)),
)


def frequency(bits: Array) -> Array:
    """As many ones as zeros?

    Parameters
    ----------
    bits : (sequences, n) uint8

    Returns
    -------
    (sequences, 1) float
        p-values.
    """
    b = require_bits(bits, least=100, test="frequency")
    sums = 2.0 * b.sum(axis=1) - b.shape[1]
    return np.asarray(erfc(np.abs(sums) / np.sqrt(2 * b.shape[1])))[:, None]


def block_frequency(bits: Array, *, block: int | None = None) -> Array:
    """As many ones as zeros in every block? Shapes as `frequency`.

    Parameters
    ----------
    bits : (sequences, n) uint8
    block : int, optional
        Default as §2.2.7 recommends: at least 20 bits, and fewer than 100 blocks.
    """
    chosen = None if block is None else require_size(block, name="block", least=2)
    b = require_bits(bits, least=max(100, chosen or 0), test="block-frequency")
    block = chosen or max(20, b.shape[1] // 100 + 1)
    share = _blocks(b, block).mean(axis=2)
    return np.asarray(gammaincc(share.shape[1] / 2, 2 * block * ((share - 0.5) ** 2).sum(axis=1)))[:, None]


def runs(bits: Array) -> Array:
    """As many changes as there should be? 0 where ones are too many or too few. Shapes as `frequency`."""
    b = require_bits(bits, least=100, test="runs")
    n = b.shape[1]
    share = b.mean(axis=1)
    seen = 1 + (b[:, 1:] != b[:, :-1]).sum(axis=1)
    usual = 2 * n * share * (1 - share)
    with np.errstate(divide="ignore", invalid="ignore"):
        p = erfc(np.abs(seen - usual) / (2 * np.sqrt(2 * n) * share * (1 - share)))
    return np.where(np.abs(share - 0.5) >= 2 / np.sqrt(n), 0.0, p)[:, None]


def longest_run(bits: Array, *, figures: str = "corrected") -> Array:
    """Is the longest run of ones of a block as long as usual? Shapes as `frequency`.

    The standard prints the chances of its classes to four digits, and those of blocks of 10,000 bits off in
    the third: .0882 where .0866 is right. `figures` "printed" uses them all the same, as appendix B did.
    """
    require_figures(figures)
    b = require_bits(bits, least=128, test="longest-run")
    _, block, shortest, printed = next(row for row in _LONGEST if b.shape[1] >= row[0])
    expected = printed if figures == "printed" else longest_run_chances(block, shortest, len(printed))
    parts = _blocks(b, block)
    longest = np.zeros(parts.shape[:2], np.int64)
    run = np.zeros_like(longest)
    for place in range(block):
        run = (run + 1) * parts[:, :, place]
        np.maximum(longest, run, out=longest)
    kind = np.clip(longest - shortest, 0, len(expected) - 1)
    return _chi_square(kind, np.array(expected))


@cache
def longest_run_chances(block: int, shortest: int, classes: int) -> tuple[float, ...]:
    """Chances that the longest run of ones is `shortest` or less, one more, ..., the rest.

    Examples
    --------
    >>> [round(c, 6) for c in longest_run_chances(8, 1, 4)]
    [0.214844, 0.367188, 0.230469, 0.1875]
    """
    at_most = [0.0]
    for longest in range(shortest, shortest + classes - 1):
        without = [1.0] * (longest + 1) + [1 - 0.5 ** (longest + 1)]  # a longer run, by bits so far
        for _ in range(longest + 1, block):
            # the first longer run ends here, after a zero that no longer run had come before
            without.append(without[-1] - without[-longest - 2] * 0.5 ** (longest + 2))
        at_most.append(without[block])
    return tuple(np.diff([*at_most, 1.0]).tolist())


def cumulative_sums(bits: Array) -> Array:
    """Does the walk of ones and zeros stray too far, forwards and backwards?

    Returns
    -------
    (sequences, 2) float
        Forward, reverse.
    """
    b = require_bits(bits, least=100, test="cumulative-sums")
    steps = 2 * b.astype(np.int64) - 1
    n = b.shape[1]
    found = []
    for walk in (steps, steps[:, ::-1]):
        z = np.abs(np.cumsum(walk, axis=1)).max(axis=1)
        found.append([_stray(int(value), n) for value in z])
    return np.array(found).T


def _stray(z: int, n: int) -> float:
    root = np.sqrt(n)
    k = np.arange(np.trunc((-n / z + 1) / 4), np.trunc((n / z - 1) / 4) + 1)
    first = ndtr((4 * k + 1) * z / root) - ndtr((4 * k - 1) * z / root)
    k = np.arange(np.trunc((-n / z - 3) / 4), np.trunc((n / z - 1) / 4) + 1)
    second = ndtr((4 * k + 3) * z / root) - ndtr((4 * k + 1) * z / root)
    return float(np.clip(1 - first.sum() + second.sum(), 0, 1))


def _blocks(bits: Array, block: int) -> Array:
    """(sequences, blocks, block): what is left over at the end is not used."""
    count = bits.shape[1] // block
    return bits[:, : count * block].reshape(len(bits), count, block)


def _chi_square(kind: Array, expected: Array) -> Array:
    """(sequences, 1) p-values of how often each class occurred among (sequences, blocks) classes."""
    seen = (kind[:, :, None] == np.arange(len(expected))).sum(axis=1)
    usual = kind.shape[1] * expected
    return np.asarray(gammaincc((len(expected) - 1) / 2, ((seen - usual) ** 2 / usual).sum(axis=1) / 2))[
        :, None
    ]
