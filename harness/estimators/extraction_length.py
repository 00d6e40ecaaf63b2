"""How many nearly uniform bits hashing gets out of what is left of a secret."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from harness.contracts import Estimate

__all__ = ["FORMS", "extractable", "extractable_bits", "left_by_sketch"]

FORMS: Mapping[str, float] = MappingProxyType(
    {"leftover-hash-dodis-2008": 2.0, "leftover-hash-textbook": 0.0}
)
"""Published forms of the leftover hash lemma: bits that each allows beyond ``m - 2 log2(1/ε)``."""


def extractable_bits(min_entropy: float, *, epsilon: float, form: str) -> float:
    """Length of key that universal hashing extracts at statistical distance `epsilon` from uniform.

    The lemma is about universal families of hashes with a public random member, such as Toeplitz matrices.
    Of HKDF or another hash function it says nothing: their security is computational.
    ``m - 2 log2(1/ε) + 2`` by the lemma for average min-entropy of Dodis et al., ``m - 2 log2(1/ε)`` in
    the form of textbooks; whole bits, at least 0.

    Parameters
    ----------
    min_entropy : float
        Bits m of average min-entropy given everything public, at least 0.
    epsilon : float
        Strictly between 0 and 1.
    form : str
        One of `FORMS`.

    Returns
    -------
    float
        Whole bits. It is at least this much for the stated m: the lemma is a guarantee, other extractors
        (or the assumption of a random oracle) may allow more.

    Raises
    ------
    ValueError
        If an argument is out of range, or the form is unknown.

    References
    ----------
    Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008) 97–139, generalised leftover hash lemma.
    Håstad, Impagliazzo, Levin and Luby, SIAM J. Comput. 28 (1999) 1364–1396, the lemma (from memory).

    Examples
    --------
    >>> extractable_bits(131, epsilon=2**-32, form="leftover-hash-dodis-2008")
    69.0
    >>> extractable_bits(131, epsilon=2**-32, form="leftover-hash-textbook")
    67.0
    """
    if form not in FORMS:
        raise ValueError(f"`form` must be one of {', '.join(FORMS)}, got {form!r}")
    if not 0 < epsilon < 1:
        raise ValueError(f"`epsilon` must lie strictly between 0 and 1, got {epsilon}")
    if not min_entropy >= 0:
        raise ValueError(f"`min_entropy` must be at least 0 bits, got {min_entropy}")
    length = min_entropy + 2 * math.log2(epsilon) + FORMS[form]
    # a sum that misses a whole number by rounding alone is that number
    return float(max(0, math.floor(length + 1e-9)))


def left_by_sketch(min_entropy: float, *, parities: int) -> float:
    """Average min-entropy that a linear sketch leaves at least: what there was, less its parities.

    Parameters
    ----------
    min_entropy : float
        Bits of the witness.
    parities : int
        Published parities ``n - k``, of all blocks.

    Returns
    -------
    float
        Bits, at least 0.

    Raises
    ------
    ValueError
        If either is below 0.

    References
    ----------
    Dodis et al. (2008), as in `extractable_bits`: code-offset and syndrome construction.
    """
    if not min_entropy >= 0 or parities < 0:
        raise ValueError(
            f"`min_entropy` and `parities` must be at least 0, got {min_entropy} and {parities}"
        )
    return max(0.0, float(min_entropy - parities))


def extractable(strength: Estimate, *, epsilon: float, form: str) -> Estimate:
    """`extractable_bits` of an estimated min-entropy, with its interval.

    Parameters
    ----------
    strength : Estimate
        Unit "bit". Ends below 0 count as 0.
    epsilon, form
        As in `extractable_bits`.

    Returns
    -------
    Estimate
        Unit "bit", method `form`; side, evidence and level are those of `strength`, for the lemma adds
        nothing uncertain. Open ends stay open.

    Raises
    ------
    ValueError
        As `extractable_bits`, and if the unit is another.
    """
    if strength.unit != "bit":
        raise ValueError(f"`strength` must be in bit, got {strength.unit!r}")

    def length(bits: float) -> float:
        return bits if math.isnan(bits) else extractable_bits(max(bits, 0.0), epsilon=epsilon, form=form)

    return replace(
        strength,
        value=length(strength.value),
        low=length(strength.low),
        high=length(strength.high),
        method=form,
    )
