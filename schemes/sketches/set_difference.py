"""The set-difference sketch: a few power sums of a set, from which a similar set is corrected.

References
----------
Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008) 97-139, section 6.3 (section from
memory): the syndrome of the set's characteristic vector under a BCH code.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from harness.contracts import Array, Helper, Linear, frozen
from schemes.codes import Code
from schemes.codes.bch import Bch
from schemes.codes.bch_decoding import error_places, power_sums
from schemes.codes.field import field
from schemes.quantisers.checks import whole_number

__all__ = ["SetDifference", "set_difference"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDifference:
    """Witness bits say which elements of a universe are in the set; the secret is the set itself.

    Published are the sums of the powers 1, 3, ..., 2 * differences - 1 of the elements in GF(2^m),
    the smallest field with more than `universe` elements. B finds A's set if the two differ in at most
    `differences` elements, one that is there and one that is missing being two.

    At most differences * m bits become known; what the sums leave of the set depends on how likely
    the sets are. As n = k, a key must be hashed from the secret.
    """

    universe: int
    differences: int

    def __post_init__(self) -> None:
        whole_number("universe", self.universe, 3, 1023)
        whole_number("differences", self.differences, 1, self.universe // 2)

    @property
    def n(self) -> int:
        return self.universe

    @property
    def k(self) -> int:
        return self.universe

    @property
    def corrects(self) -> int:
        return self.differences

    def commit(self, bits: Array, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Secret (attempts, blocks * k), "power-sums" (attempts, blocks, differences); draws nothing."""
        return np.array(bits, np.uint8).reshape(len(bits), -1), {"power-sums": self._sums(bits)}

    def recover(self, bits: Array, helper: Helper) -> tuple[Array, Array]:
        """Find the elements in which the sets differ from the difference of their sums."""
        sums = helper["power-sums"] ^ self._sums(bits)
        places, known = error_places(sums.reshape(-1, self.differences), self._length)
        known = known & ~places[:, self.universe :].any(axis=1)
        differing = (places[:, : self.universe] & known[:, None]).reshape(bits.shape)
        return (bits ^ differing).reshape(len(bits), -1), known.reshape(bits.shape[:2])

    def linear(self, helper: Helper, positions: Array) -> Linear:
        """Every bit of a power sum is a parity of the membership bits."""
        sums = np.asarray(helper["power-sums"])
        m = self._length.bit_length()
        bits = sums[..., None] >> np.arange(m - 1, -1, -1).astype(sums.dtype) & 1
        return Linear(
            positions=positions,
            parity=_parity(self.universe, self.differences, self._length),
            syndrome=bits.reshape(*sums.shape[:2], -1).astype(np.uint8),
            secret_map=np.eye(self.universe, dtype=np.uint8),
            secret_offset=np.zeros((*sums.shape[:2], self.universe), np.uint8),
        )

    @property
    def _length(self) -> int:
        return (1 << max(4, int(self.universe).bit_length())) - 1

    def _sums(self, bits: Array) -> Array:
        words = np.zeros((bits.shape[0] * bits.shape[1], self._length), np.uint8)
        words[:, : self.universe] = bits.reshape(-1, self.universe)
        return power_sums(words, self.differences).reshape(*bits.shape[:2], -1)


def set_difference(*, code: Code) -> SetDifference:
    """Return the sketch over all places of a BCH code, for as many differences as the code corrects.

    Raises
    ------
    ValueError
        If it is not a BCH code.

    Examples
    --------
    >>> from schemes.codes import bch
    >>> set_difference(code=bch(255, 131))
    SetDifference(universe=255, differences=18)
    """
    if not isinstance(code, Bch):
        raise ValueError(f"`code` of a set-difference sketch must be a BCH code, got {code.name}")
    return SetDifference(universe=code.n, differences=code.t)


@lru_cache(maxsize=16)
def _parity(universe: int, differences: int, length: int) -> Array:
    """(differences * m, universe) uint8; rows may be dependent."""
    over = field(length.bit_length())
    powers = np.arange(length - 1, length - 1 - universe, -1) * np.arange(1, 2 * differences, 2)[:, None]
    elements = over.exp[powers % length]  # (differences, universe)
    shifts = np.arange(over.m - 1, -1, -1).astype(elements.dtype)[:, None]
    return frozen((elements[:, None] >> shifts & 1).astype(np.uint8).reshape(-1, universe))
