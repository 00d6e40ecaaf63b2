"""Tests for patterns: templates, serial, approximate entropy (SP 800-22 §2.7, 2.8, 2.11, 2.12)."""

from __future__ import annotations

import numpy as np
from scipy.special import comb, factorial, gammaincc

from harness.contracts import Array
from harness.estimators.randomness.bits import require_bits, require_figures, require_size

__all__ = [
    "aperiodic_templates",
    "approximate_entropy",
    "non_overlapping_templates",
    "overlapping_template",
    "run_chances",
    "serial",
]

_RUN, _BLOCK = 9, 1032
_PARTS = 8
_LONGEST_TEMPLATE = 16
_USUAL_COUNT, _LEAST_COUNT = 128, 16


def run_chances(figures: str = "corrected") -> Array:
    """Chances of 0, 1, 2, 3, 4 and more runs of nine ones in 1032 bits, which may overlap.

    Parameters
    ----------
    figures : str
        "corrected": exact. "printed": by clumps, as in the first edition and its appendix B, off in the
        third decimal.

    Examples
    --------
    >>> run_chances().round(6).tolist()
    [0.364091, 0.185659, 0.139381, 0.100571, 0.070432, 0.139865]
    """
    require_figures(figures)
    if figures == "printed":
        eta = (_BLOCK - _RUN + 1) / 2.0**_RUN / 2
        few = [np.exp(-eta)]
        for u in range(1, 5):
            clumps = np.arange(1, u + 1)
            ways = comb(u - 1, clumps - 1) * eta**clumps / factorial(clumps)
            few.append(np.exp(-eta) / 2**u * ways.sum())
        return np.array([*few, 1 - sum(few)])
    chance = np.zeros((_RUN + 1, 6))  # ones in a row so far, runs so far
    chance[0, 0] = 1
    for _ in range(_BLOCK):
        after = np.zeros_like(chance)
        after[0] = chance.sum(axis=0) / 2
        after[1:_RUN] = chance[: _RUN - 1] / 2
        full = (chance[_RUN - 1] + chance[_RUN]) / 2
        after[_RUN, 1:] = full[:-1]
        after[_RUN, 5] += full[5]
        chance = after
    return np.asarray(chance.sum(axis=0))


def aperiodic_templates(m: int = 9) -> Array:
    """Templates that cannot overlap themselves, as integers in ascending order.

    Examples
    --------
    >>> aperiodic_templates(3).tolist()
    [1, 3, 4, 6]
    """
    require_size(m, name="m", least=2, most=_LONGEST_TEMPLATE)
    numbers = np.arange(2**m)
    overlaps = np.zeros(2**m, bool)
    for shift in range(1, m):
        overlaps |= (numbers >> shift) == (numbers & ((1 << (m - shift)) - 1))
    return numbers[~overlaps]


def _windows(bits: Array, m: int, *, around: bool = False) -> Array:
    """(sequences, n - m + 1) numbers of m bits in a row; `around` continues at the beginning."""
    given = np.concatenate([bits, bits[:, : m - 1]], axis=1) if around else bits
    width = given.shape[1] - m + 1
    found = np.zeros((len(given), width), np.uint32)
    for place in range(m):
        found = (found << np.uint32(1)) | given[:, place : place + width]
    return found


def non_overlapping_templates(
    bits: Array, *, templates: Array | None = None, m: int | None = None
) -> Array:
    """Does any template occur too often or too rarely?

    Counts of a rare template are far from normal, and the least p-value of 148 templates lies where that
    matters: at 16,384 bits and nine-bit templates the least, corrected for their number, fell below .01 in
    7 of 100 random sequences. So shorter sequences are searched for shorter templates.

    Parameters
    ----------
    bits : (sequences, n) uint8
    templates : (templates,) int, optional
        As integers of `m` bits; default all of `aperiodic_templates`.
    m : int, optional
        Default 9, or as many as let each template be expected 128 times in each of the eight blocks.

    Returns
    -------
    (sequences, templates) float
        p-values, from eight blocks.

    Raises
    ------
    ValueError
        If a template is none of `aperiodic_templates`.
    InsufficientData
        If a template of the given length would be expected fewer than 16 times in a block.
    """
    if m is None:
        test_least = _PARTS * _USUAL_COUNT * 2**2
    else:
        test_least = _PARTS * _LEAST_COUNT * 2 ** require_size(m, name="m", least=2, most=_LONGEST_TEMPLATE)
    b = require_bits(bits, least=test_least, test="non-overlapping-templates")
    if m is None:
        m = min(9, int(b.shape[1] // (_PARTS * _USUAL_COUNT)).bit_length() - 1)
    possible = aperiodic_templates(m)
    chosen = possible if templates is None else np.asarray(templates)
    if not np.isin(chosen, possible).all():
        raise ValueError(
            f"`templates` must be numbers of {m} bits that cannot overlap themselves, got {list(chosen)}"
        )
    block = b.shape[1] // _PARTS
    mean = (block - m + 1) / 2**m
    variance = block * (1 / 2**m - (2 * m - 1) / 2.0 ** (2 * m))
    statistic = np.zeros((len(b), len(chosen)))
    for part in range(_PARTS):
        words = _windows(b[:, part * block : (part + 1) * block], m)
        # such a template never overlaps itself, so that counting all is counting from its end on
        counts = np.stack([np.bincount(w, minlength=2**m)[chosen] for w in words])
        statistic += (counts - mean) ** 2 / variance
    return np.asarray(gammaincc(_PARTS / 2, statistic / 2))


def overlapping_template(bits: Array, *, figures: str = "corrected") -> Array:
    """Do runs of nine ones occur as often as they should? p-values (sequences, 1).

    The standard asks for a million bits; here a hundred blocks are enough, as the rarest class is then
    expected seven times. `figures` names the chances, see `run_chances`.
    """
    require_figures(figures)
    m, block = _RUN, _BLOCK
    b = require_bits(bits, least=100 * block, test="overlapping-template")
    count = b.shape[1] // block
    parts = b[:, : count * block].reshape(-1, block)
    hits = (_windows(parts, m) == 2**m - 1).sum(axis=1).reshape(len(b), count)
    expected = count * run_chances(figures)
    seen = (np.minimum(hits, 5)[:, :, None] == np.arange(6)).sum(axis=1)
    return np.asarray(gammaincc(2.5, ((seen - expected) ** 2 / expected).sum(axis=1) / 2))[:, None]


def _longest_order(n: int, spare: int) -> int:
    """The longest pattern that the standard allows: m < floor(log2 n) - spare."""
    return n.bit_length() - 1 - spare - 1


def serial(bits: Array, *, m: int | None = None) -> Array:
    """Are all patterns of m bits as frequent as one another?

    Parameters
    ----------
    bits : (sequences, n) uint8
    m : int, optional
        Default: the longest that §2.11.7 allows, 16 at most.

    Returns
    -------
    (sequences, 2) float
        p-values of the first and second difference.
    """
    b = require_bits(bits, least=100, test="serial")
    longest = _longest_order(b.shape[1], 2)
    order = min(16, longest) if m is None else require_size(m, name="m", least=2, most=longest)
    psi = [_squares(b, k) for k in (order, order - 1, order - 2)]
    first, second = psi[0] - psi[1], psi[0] - 2 * psi[1] + psi[2]
    return np.stack(
        [
            gammaincc(2.0 ** (order - 2), first / 2),
            gammaincc(2.0 ** (order - 3), np.maximum(second, 0) / 2),
        ],
        axis=1,
    )


def _squares(bits: Array, m: int) -> Array:
    if m == 0:
        return np.zeros(len(bits))
    n = bits.shape[1]
    counts = [np.bincount(w, minlength=2**m) for w in _windows(bits, m, around=True)]
    return np.array([2.0**m / n * float((c.astype(float) ** 2).sum()) - n for c in counts])


def approximate_entropy(bits: Array, *, m: int | None = None) -> Array:
    """Do patterns of m bits tell the next one?

    Parameters
    ----------
    bits : (sequences, n) uint8
    m : int, optional
        Default: 10, or shorter than the longest that §2.12.7 allows by two. With the longest, 65,536 random
        bits were rejected at the level .01 in 2 of 100 cases.

    Returns
    -------
    (sequences, 1) float
        p-values.
    """
    b = require_bits(bits, least=128, test="approximate-entropy")
    n = b.shape[1]
    longest = _longest_order(n, 5)
    order = min(10, max(1, longest - 2)) if m is None else require_size(m, name="m", least=1, most=longest)
    phi = []
    for k in (order, order + 1):
        shares = [np.bincount(w) / n for w in _windows(b, k, around=True)]
        phi.append(np.array([float((s[s > 0] * np.log(s[s > 0])).sum()) for s in shares]))
    chi = 2 * n * (np.log(2) - (phi[0] - phi[1]))
    return np.asarray(gammaincc(2.0 ** (order - 1), np.maximum(chi, 0) / 2))[:, None]
