"""A polynomial vault and key extraction joined: the part of a scheme behind a quantiser of feature sets."""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral

import numpy as np

from harness.contracts import ABORTED, Array, Helper, Witness, frozen
from schemes.extraction import Extraction
from schemes.quantisers.checks import whole_number
from schemes.vault import PolynomialVault, members

__all__ = ["VaultCommitment"]

_LABELS = frozen(np.array([[0], [1]], np.uint8))


@dataclass(frozen=True, slots=True, kw_only=True)
class VaultCommitment:
    """Witness symbols say which of `vault.universe` features an attempt has: 1 = has it.

    Of more than `size` features the `size` smallest are used, on both devices. An attempt of A with fewer
    features than the polynomial has coefficients could never be opened and is aborted.
    """

    vault: PolynomialVault
    extraction: Extraction
    key_bits: int
    size: int = 40

    def __post_init__(self) -> None:
        if not isinstance(self.key_bits, Integral) or not 1 <= self.key_bits <= self.secret_bits:
            raise ValueError(
                f"`key_bits` must be 1 to {self.secret_bits}, which is the secret, got {self.key_bits!r}"
            )
        whole_number("size", self.size, self.vault.coefficients, self.vault.points)

    @property
    def labels(self) -> Array:
        """(2, 1) uint8: symbol -> witness bit."""
        return _LABELS

    @property
    def symbols(self) -> int:
        """Witness symbols that are read."""
        return self.vault.universe

    @property
    def secret_bits(self) -> int:
        return self.vault.secret_bits

    @property
    def needed(self) -> int:
        """Features of A that open the vault."""
        return self.vault.coefficients

    def listed(self, helper: Helper) -> Array:
        """(attempts, points) features among which those of A lie, ascending.

        Of more than `size` features only the smallest are there for sure.
        """
        return np.asarray(helper["vault"][:, :, 0], np.intp)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits), "vault", what the extraction draws, and "aborted"."""
        features = self._features(witness)
        secret, hidden = self.vault.lock(features, rng=rng)
        drawn = self.extraction.public(
            len(secret), secret_bits=self.secret_bits, key_bits=self.key_bits, rng=rng
        )
        aborted = (features >= 0).sum(axis=1) < self.vault.coefficients
        helper = {**hidden, **drawn, ABORTED: aborted}
        return self.extraction.key(secret, helper, key_bits=self.key_bits), helper

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys, zero where not accepted; accepted if acquired and the vault opened."""
        secret, found = self.vault.unlock(self._features(witness), helper)
        accepted = np.asarray(witness.acquired & found & ~np.asarray(helper[ABORTED], np.bool_))
        keys = self.extraction.key(secret, helper, key_bits=self.key_bits)
        return keys * accepted[:, None].astype(np.uint8), accepted

    def _features(self, witness: Witness) -> Array:
        return members(witness.symbols[:, : self.symbols], self.size)
