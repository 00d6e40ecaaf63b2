"""Chi-square tests of a sequence: are symbols independent of their neighbours, and alike throughout?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.whole_symbols import whole_symbols

__all__ = ["ALPHA", "ChiSquare", "binned", "goodness_of_fit", "independence"]

ALPHA = 0.001
"""The standard's chance of rejecting symbols that are independent and alike."""

_LEAST = 5.0  # expected in every bin at least
_PARTS = 10
_WIDEST = 11  # bits of a tuple at most


@dataclass(frozen=True, slots=True, kw_only=True)
class ChiSquare:
    """A chi-square statistic, its degrees of freedom, and the chance of one as large.

    The published degrees differ where rare pairs share a bin, see `independence`.
    """

    statistic: float
    degrees: float
    p_value: float
    published_degrees: int

    @property
    def published_p_value(self) -> float:
        return float(chi2.sf(self.statistic, self.published_degrees))

    @property
    def rejected(self) -> bool:
        return self.p_value < ALPHA


def binned(expected: Array) -> tuple[Array, Array]:
    """Gather categories, the rarest first, into bins that expect at least five each.

    Parameters
    ----------
    expected : (categories,) float

    Returns
    -------
    (categories,) int, (bins,) float
        The bin of each category, and what each bin expects. What is left over at the end joins the last
        bin; with less than five in all there is one bin.

    References
    ----------
    NIST SP 800-90B (2018) §5.2.1 and §5.2.2, step 2 (from memory).

    Examples
    --------
    >>> bins, expects = binned(np.array([9.0, 1.0, 3.0, 2.0, 4.5]))
    >>> bins.tolist(), expects.tolist()
    ([1, 0, 0, 0, 1], [6.0, 13.5])
    """
    order = np.argsort(expected, kind="stable")
    number, held = np.zeros(len(expected), np.intp), 0.0
    bin_of, at = [], 0
    for value in expected[order].tolist():
        bin_of.append(at)
        held += value
        if held >= _LEAST:
            at, held = at + 1, 0.0
    number[order] = np.minimum(bin_of, max(at - 1, 0))
    return number, np.bincount(number, expected)


def independence(symbols: Array) -> ChiSquare:
    """Are neighbours independent? Pairs of symbols; of bits, tuples of up to eleven.

    Pairs and tuples do not overlap, so that their counts are multinomial and the statistic is chi-square.
    The standard takes the number of symbols off the bins for degrees of freedom. That holds where every
    pair has a bin of its own. Bins of several pairs keep less of what the shares were fitted to, so that
    fewer degrees are spent; the published number rejects independent bytes in six of ten
    sequences of 20 000 (at a nominal .001, measured). Degrees here are the bins less one less what the fit
    took; the two agree where no bin is shared.

    Parameters
    ----------
    symbols : (n,) int

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension.
    InsufficientData
        If there is one symbol only, or too few for the test: for bits, where the rarer is not expected five
        times as a pair; else, where no degree of freedom is left.

    References
    ----------
    NIST SP 800-90B (2018) §5.2.1 and §5.2.3 (from memory: pairs expected ``p_i p_j floor(n / 2)`` times,
    bins less symbols as degrees of freedom; tuples ``2**m - 2``).
    """
    codes, kinds = _codes(symbols)
    if kinds == 2:
        return _tuples(codes)
    n = codes.size // 2
    share = np.bincount(codes, minlength=kinds) / codes.size
    bins, expects = binned(np.outer(share, share).ravel() * n)
    published = len(expects) - kinds
    if published < 1:
        raise InsufficientData(
            f"independence of pairs needs more bins than symbols, got {len(expects)} bins of pairs "
            f"that are expected five times, for {kinds} symbols: more data are needed"
        )
    pairs = codes[: 2 * n : 2] * kinds + codes[1 : 2 * n : 2]
    seen = np.bincount(bins[pairs], minlength=len(expects))
    degrees = float(published)
    if len(expects) < kinds**2:
        degrees = len(expects) - 1 - _spent(share, bins, expects / n)
    return _chi_square(seen, expects, published, degrees)


def _spent(share: Array, bins: Array, chance: Array) -> float:
    """Degrees of freedom that fitting the shares of symbols takes from bins of pairs.

    The trace of the information of bins relative to that of the pairs: between 0 and one less than symbols
    (Chernoff and Lehmann 1954, from memory: fitted on ungrouped data, a parameter takes less than one).

    Parameters
    ----------
    share : (symbols,) float
    bins : (symbols**2,) int
        The bin of each pair.
    chance : (bins,) float
    """
    kinds = len(share)
    first, second = np.divmod(np.arange(kinds**2), kinds)
    # how a bin's chance changes with each share that is in it
    place, which = np.unique(
        np.concatenate([bins * kinds + first, bins * kinds + second]), return_inverse=True
    )
    slope = np.bincount(which, np.concatenate([share[second], share[first]]))
    return float((share[place % kinds] * slope**2 / chance[place // kinds]).sum()) / 2 - 2


def _tuples(bits: Array) -> ChiSquare:
    one = float(bits.mean())
    rarer = min(one, 1 - one)
    wide = [m for m in range(2, _WIDEST + 1) if rarer**m * (bits.size // m) >= _LEAST]
    if not wide:
        raise InsufficientData(
            "independence of bits needs the rarer bit twice in a row to be expected five times, got "
            f"{rarer**2 * (bits.size // 2):.3g} times in {bits.size} bits"
        )
    m = wide[-1]
    n = bits.size // m
    words = bits[: n * m].reshape(n, m) @ (1 << np.arange(m))
    ones = np.bitwise_count(np.arange(2**m, dtype=np.uint16)).astype(float)
    expects = n * one**ones * (1 - one) ** (m - ones)
    return _chi_square(np.bincount(words, minlength=2**m), expects, 2**m - 2)


def goodness_of_fit(symbols: Array) -> ChiSquare:
    """Are symbols as frequent in each tenth of the sequence as in all of it?

    Parameters
    ----------
    symbols : (n,) int
        What a division by ten leaves over at the end is not used.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension.
    InsufficientData
        If there is one symbol only, or a tenth of the sequence does not expect two bins of five.

    References
    ----------
    NIST SP 800-90B (2018) §5.2.2 and §5.2.4 (from memory).
    """
    codes, kinds = _codes(symbols)
    each = codes.size // _PARTS
    parts = codes[: each * _PARTS].reshape(_PARTS, each)
    bins, expects = binned(np.bincount(parts.ravel(), minlength=kinds) / _PARTS)
    if len(expects) < 2:
        raise InsufficientData(
            "goodness of fit needs two bins that are expected five times in a tenth of the sequence, got "
            f"one in {codes.size} symbols"
        )
    rows = np.arange(_PARTS)[:, None] * len(expects)
    seen = np.bincount((bins[parts] + rows).ravel(), minlength=_PARTS * len(expects))
    return _chi_square(seen, np.tile(expects, _PARTS), (_PARTS - 1) * (len(expects) - 1))


def _chi_square(seen: Array, expects: Array, published: int, degrees: float | None = None) -> ChiSquare:
    statistic = float(((seen - expects) ** 2 / expects).sum())
    used = float(published) if degrees is None else degrees
    return ChiSquare(
        statistic=statistic,
        degrees=used,
        p_value=float(chi2.sf(statistic, used)),
        published_degrees=published,
    )


def _codes(symbols: Array) -> tuple[Array, int]:
    """Symbols counted up from 0 without gaps, and how many there are."""
    values = whole_symbols(symbols)
    kinds, codes = np.unique(values, return_inverse=True)
    if len(kinds) < 2:
        raise InsufficientData(f"a chi-square test needs at least two symbols that occur, got {len(kinds)}")
    return codes.astype(np.intp), len(kinds)
