"""Symbols of any source assessed by all ten estimators: as they are, and written out in bits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.entropy.bitstring import bits_of_alphabet, bitstring, likeliest_bit
from harness.estimators.entropy.ceilings import ceiling, most_of_any
from harness.estimators.entropy.collision import collision
from harness.estimators.entropy.compression import compression
from harness.estimators.entropy.counting import multi_markov
from harness.estimators.entropy.lag import lag
from harness.estimators.entropy.lz78y import lz78y
from harness.estimators.entropy.markov import markov
from harness.estimators.entropy.most_common import most_common_value
from harness.estimators.entropy.tuples import longest_repeated_substring, t_tuple
from harness.estimators.entropy.whole_symbols import whole_symbols
from harness.estimators.entropy.window import multi_most_common_in_window

__all__ = ["ESTIMATORS", "FULL", "NonIid", "Outcome", "non_iid"]

FULL = 1_000_000
"""Consecutive symbols that the standard asks for."""

ESTIMATORS: dict[str, Callable[..., Estimate]] = {
    "most-common-value": most_common_value,
    "collision": collision,
    "markov": markov,
    "compression": compression,
    "t-tuple": t_tuple,
    "longest-repeated-substring": longest_repeated_substring,
    "multi-most-common-in-window": multi_most_common_in_window,
    "lag": lag,
    "multi-markov": multi_markov,
    "lz78y": lz78y,
}
"""In the order of the standard, by method slug."""

_BITS_ONLY = frozenset({"collision", "markov", "compression"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one estimator says of the symbols, or of the bits that they are written in."""

    method: str
    of: str  # "symbols" or "bits"
    estimate: Estimate | None  # per symbol, or per bit; None: too few data
    reason: str | None  # of too few data
    per_symbol: float | None  # bits of min-entropy of a whole symbol
    ceiling: float | None  # what it says of a perfect source, per symbol or per bit; see `ceilings.ceiling`


@dataclass(frozen=True, slots=True, kw_only=True)
class NonIid:
    """Every estimate of one sequence, and the least of them.

    Each bounds from above only: structure that no estimator sees lowers the true min-entropy.
    """

    symbols: int
    alphabet: int
    bits: int  # a symbol is written in
    outcomes: tuple[Outcome, ...]

    @property
    def decides(self) -> Outcome:
        """The outcome with the least min-entropy per symbol; of equals the first."""
        return min(
            (o for o in self.outcomes if o.per_symbol is not None), key=lambda o: o.per_symbol or 0.0
        )

    @property
    def value(self) -> float:
        """Bits of min-entropy per symbol: the literal figure or `bits` times that of a bit, if less."""
        return self.decides.per_symbol or 0.0

    @property
    def literal(self) -> float:
        """The least of the estimates of the symbols themselves."""
        return self._least("symbols") or 0.0

    @property
    def of_bits(self) -> float | None:
        """`bits` times the least of the estimates of a bit; None if the symbols are bits."""
        return self._least("bits")

    @property
    def ceiling(self) -> float:
        """The most that any symbols of this number can get: their most common value sees to that."""
        return most_of_any(self.symbols, self.alphabet)

    @property
    def typical_ceiling(self) -> float:
        """The least of the ceilings: about what a perfect source gets at this length."""
        return min(
            o.ceiling * (self.bits if o.of == "bits" else 1) for o in self.outcomes if o.ceiling is not None
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """Whole sentences on what limits the value."""
        found = []
        if self.symbols < FULL:
            found.append(
                f"Below the standard's sample size: {self.symbols} symbols of {FULL}; at this length a "
                f"perfect source is assessed at about {self.typical_ceiling:.3g} bits a symbol or "
                f"less, and any at no more than {self.ceiling:.3g}."
            )
        missing = [f"{o.method} of {o.of}" for o in self.outcomes if o.estimate is None]
        if missing:
            found.append(f"Not estimated for want of data: {', '.join(missing)}.")
        if self.of_bits is not None and self.alphabet != 1 << self.bits:
            found.append(
                f"{self.alphabet} symbols do not fill {self.bits} bits evenly, so that even equally likely "
                "symbols lose entropy when they are written in bits."
            )
        return tuple(found)

    def _least(self, of: str) -> float | None:
        return min(
            (o.per_symbol for o in self.outcomes if o.of == of and o.per_symbol is not None), default=None
        )


def non_iid(symbols: Array, *, alphabet: int | None = None, attempts: int = 1, subjects: int = 1) -> NonIid:
    """Assess symbols by the ten estimators for sources that need not be independent.

    Parameters
    ----------
    symbols : (n,) int
        Consecutive, from 0 to `alphabet` - 1.
    alphabet : int, optional
        Symbols that there are, 2 to 2^16; up to the greatest seen, if not told.
    attempts, subjects : int
        Where the symbols come from; recorded with the estimates.

    Returns
    -------
    NonIid
        Of bits, all ten estimates. Of wider symbols the seven that are defined for any alphabet, and all
        ten of the bits that they are written in, highest bit first. An estimator that lacks data is listed
        with the reason.

    Raises
    ------
    ValueError
        If symbols are not whole numbers in one dimension, or lie outside the alphabet.
    InsufficientData
        If there are fewer than two symbols.

    References
    ----------
    NIST SP 800-90B (2018) §3.1.3 (from memory) and §6.3.

    Examples
    --------
    >>> import numpy as np
    >>> found = non_iid(np.tile([0, 0, 1], 2000))
    >>> found.decides.method, found.value < 0.01
    ('t-tuple', True)
    """
    values = whole_symbols(symbols)
    if values.size < 2:
        raise InsufficientData(
            f"an assessment of min-entropy needs at least two symbols, got {values.size}"
        )
    kinds = max(2, int(values.max()) + 1) if alphabet is None else alphabet
    bits = bits_of_alphabet(kinds)
    if values.min() < 0 or values.max() >= kinds:
        other = values[(values < 0) | (values >= kinds)][0]
        raise ValueError(f"symbols of {kinds} kinds must be from 0 to {kinds - 1}, got {other}")
    outcomes = [
        _outcome(method, values, kinds, 1, attempts, subjects)
        for method in ESTIMATORS
        if bits == 1 or method not in _BITS_ONLY
    ]
    if bits > 1:
        written = bitstring(values, bits)
        often = likeliest_bit(kinds)
        outcomes += [
            _outcome(method, written, 2, bits, attempts, subjects, likeliest=often) for method in ESTIMATORS
        ]
    return NonIid(symbols=values.size, alphabet=kinds, bits=bits, outcomes=tuple(outcomes))


def _outcome(
    method: str,
    values: Array,
    kinds: int,
    each: int,
    attempts: int,
    subjects: int,
    *,
    likeliest: float = 0.0,
) -> Outcome:
    """One estimator on symbols, or on bits that come `each` to a symbol."""
    estimate, reason = None, None
    try:
        estimate = ESTIMATORS[method](values, attempts=attempts, subjects=subjects)
    except InsufficientData as error:
        reason = str(error)
    return Outcome(
        method=method,
        of="symbols" if each == 1 else "bits",
        estimate=estimate,
        reason=reason,
        per_symbol=None if estimate is None else each * estimate.value,
        ceiling=ceiling(method, len(values), kinds, likeliest=likeliest),
    )
