"""The polynomial vault: a secret polynomial, known at the features of a set, among points that lie off it.

References
----------
Juels and Sudan, A fuzzy vault scheme, ISIT 2002 and Des. Codes Cryptogr. 38 (2006) 237-257.
Clancy, Kiyavash and Lin, ACM SIGMM WBMA 2003, and Uludag, Pankanti and Jain, AVBPA 2005 (both from
memory): the subsets that an adversary has to try.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from math import comb, log2, sqrt

import numpy as np

from harness.contracts import Array, Helper
from schemes.interpolation import evaluate, through_most
from schemes.quantisers.checks import whole_number

__all__ = ["PolynomialVault", "members", "opened_without_features", "subsets_to_try"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PolynomialVault:
    """Hides `secret_symbols` elements of GF(2^m) behind a set of features.

    The polynomial has one coefficient more than the secret has symbols: m bits of a hash of the secret,
    by which B sees that it found the right one. Published are `points` points (x, y), sorted by x: those
    on the polynomial at A's features, and others off it everywhere else, so that the number of points
    does not depend on the set.

    Nothing here is linear over GF(2), so the helper data cannot be disclosed as `Linear`; an adversary
    without any feature draws sets of k = `coefficients` points until one lies on the polynomial, and
    knows it by the hash. That takes `subsets_to_try`. A vault with more than about √(points · (k - 1))
    genuine points falls to list decoding at once: see `opened_without_features`. Two vaults of one
    person show the genuine points by their common x (Scheirer and Boult, 2007, from memory). All three
    are upper bounds on the security: real features are not spread evenly over the universe, and chaff
    drawn evenly stands out from them.
    """

    secret_symbols: int = 8
    points: int = 224
    universe: int = 65536  # features are 0 .. universe - 1
    m: int = 16

    def __post_init__(self) -> None:
        whole_number("m", self.m, 8, 16)
        whole_number("secret_symbols", self.secret_symbols, 1)
        whole_number("universe", self.universe, self.coefficients, 2**self.m)
        whole_number("points", self.points, self.coefficients, self.universe)

    @property
    def coefficients(self) -> int:
        """Points that determine the polynomial."""
        return self.secret_symbols + 1

    @property
    def secret_bits(self) -> int:
        return self.secret_symbols * self.m

    def lock(self, features: Array, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Draw secrets and hide them.

        Parameters
        ----------
        features : int, shape (attempts, size)
            A's features, each below `universe` and once; -1 = none. At most `points` of them.
        rng : Generator

        Returns
        -------
        secret : uint8, shape (attempts, secret_bits)
        helper : "vault" uint16, shape (attempts, points, 2)
            x and y, sorted by x.

        Raises
        ------
        ValueError
            If features are out of range or repeated, or there are more than points.
        """
        self._check(features)
        if ((features >= 0).sum(axis=1) > self.points).any():
            raise ValueError(f"`features` must be at most {self.points} a row, the points, got more")
        secret = rng.integers(0, 2**self.m, (len(features), self.secret_symbols), dtype=np.uint16)
        polynomial = np.hstack([secret, self._check_value(secret)[:, None]])
        x, genuine = self._places(features, rng)
        y = evaluate(polynomial, x, m=self.m).astype(np.uint16)
        off = rng.integers(1, 2**self.m, x.shape, dtype=np.uint16)
        y ^= np.where(genuine, np.uint16(0), off)
        return self._bits(secret), {"vault": np.stack([x.astype(np.uint16), y], axis=2)}

    def unlock(self, features: Array, helper: Helper) -> tuple[Array, Array]:
        """Find the secrets with B's features.

        Returns
        -------
        secret : uint8, shape (attempts, secret_bits)
            Zero where not found.
        found : bool, shape (attempts,)
            With g points at B's features, all but (g - k) // 2 of these have to be genuine.
        """
        self._check(features)
        x, y = np.moveaxis(np.asarray(helper["vault"]), 2, 0)
        given = _among(x, features)
        polynomial, found = through_most(x, y, given, k=self.coefficients, m=self.m)
        secret = polynomial[:, :-1].astype(np.uint16)
        found &= self._check_value(secret) == polynomial[:, -1]
        return self._bits(secret * found[:, None].astype(np.uint16)), found

    def _places(self, features: Array, rng: np.random.Generator) -> tuple[Array, Array]:
        """x of all points, ascending, and which are genuine: (attempts, points) each."""
        x = np.empty((len(features), self.points), np.intp)
        for row, mine in enumerate(features):
            held = mine[mine >= 0]
            free = np.ones(self.universe, np.bool_)
            free[held] = False
            chaff = rng.choice(np.flatnonzero(free), self.points - held.size, replace=False)
            x[row] = np.sort(np.concatenate([held, chaff]))
        return x, _among(x, features)

    def _check(self, features: Array) -> None:
        if features.ndim != 2 or not np.issubdtype(features.dtype, np.integer):
            raise ValueError(
                f"`features` must be whole numbers (attempts, size), got {features.dtype} {features.shape}"
            )
        if features.size and not (features.min() >= -1 and features.max() < self.universe):
            raise ValueError(
                f"`features` must lie below {self.universe}, -1 for none, "
                f"got {features.min()} to {features.max()}"
            )
        ordered = np.sort(features, axis=1)
        if ((ordered[:, 1:] == ordered[:, :-1]) & (ordered[:, 1:] >= 0)).any():
            raise ValueError("`features` must hold each feature once a row, got one twice")

    def _check_value(self, secret: Array) -> Array:
        """(attempts,) the last m bits of the first two bytes of SHA-256 over the symbols."""
        digests = b"".join(hashlib.sha256(row.astype(">u2").tobytes()).digest()[:2] for row in secret)
        return np.frombuffer(digests, ">u2").astype(np.uint16) & np.uint16(2**self.m - 1)

    def _bits(self, secret: Array) -> Array:
        shifts = np.arange(self.m - 1, -1, -1).astype(np.uint16)
        return (secret[..., None] >> shifts & 1).astype(np.uint8).reshape(len(secret), -1)


def members(bits: Array, size: int) -> Array:
    """Sets as membership bits (attempts, universe) -> (attempts, size) their elements, -1 behind the last.

    Of a larger set the `size` smallest elements are taken, which two devices may cut differently:
    choose `size` so that it does not happen.

    Examples
    --------
    >>> members(np.array([[0, 1, 0, 1]], np.uint8), 3).tolist()
    [[1, 3, -1]]
    """
    order = np.argsort(bits == 0, axis=1, kind="stable")[:, :size]
    found = np.where(np.take_along_axis(np.asarray(bits), order, axis=1) == 1, order, -1)
    return np.pad(found, ((0, 0), (0, size - found.shape[1])), constant_values=-1)


def subsets_to_try(points: int, genuine: int, coefficients: int) -> float:
    """Bits of work to open a vault by drawing subsets of points: log2 of how many are tried on average.

    Of the C(r, k) sets of k points, C(s, k) are genuine and lead to the polynomial. Tried in random order,
    none twice, the first of them comes after (C(r, k) + 1) / (C(s, k) + 1) on average; r points, s
    genuine, k coefficients.

    This much suffices for the adversary; side "attacker-at-least". One who knows which features are
    common, or has list decoding, needs less. Infinite if there are fewer genuine points than coefficients.

    Raises
    ------
    ValueError
        Unless 0 <= genuine <= points and 1 <= coefficients <= points.

    Examples
    --------
    >>> round(subsets_to_try(4, 2, 1), 6)  # of four points two are genuine: 5 / 3 tries
    0.736966
    """
    _require(points, genuine, coefficients)
    if genuine < coefficients:
        return float("inf")
    # exact whole numbers, whose logarithm Python takes whatever their size
    return log2(comb(points, coefficients) + 1) - log2(comb(genuine, coefficients) + 1)


def opened_without_features(points: int, genuine: int, coefficients: int) -> bool:
    """Whether list decoding finds the polynomial among all points, without knowing a feature.

    Guruswami and Sudan, IEEE Trans. Inform. Theory 45 (1999) 1757-1767 (bound from memory): the work is
    polynomial as soon as the genuine points are more than √(points · (coefficients - 1)).

    Raises
    ------
    ValueError
        As `subsets_to_try`.
    """
    _require(points, genuine, coefficients)
    return genuine > sqrt(points * (coefficients - 1)) and genuine >= coefficients


def _among(x: Array, features: Array) -> Array:
    """(attempts, points) bool: which x of a row are features of that row."""
    row = np.arange(len(x), dtype=np.int64)[:, None] << 17  # beyond any feature
    return np.isin(row + x, (row + features)[features >= 0])


def _require(points: int, genuine: int, coefficients: int) -> None:
    if not (0 <= genuine <= points and 1 <= coefficients <= points):
        raise ValueError(
            "a vault must have at least as many points as genuine points and coefficients, "
            f"got {points}, {genuine} and {coefficients}"
        )
