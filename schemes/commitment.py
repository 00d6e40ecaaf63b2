"""Sketch and key extraction joined: the part of a scheme between witness and key.

A scheme of one's own needs a quantiser and one of these; see `schemes.envelope_trend`.
"""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral

import numpy as np

from harness.contracts import Array, Helper, Linear, Witness
from schemes.codes import Code
from schemes.extraction import Extraction, extraction_named
from schemes.sketches import Sketch, sketch_named

__all__ = ["Commitment", "commitment", "consecutive_bits", "whole_symbols"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Commitment:
    """Witness symbols to keys and helper data, and back."""

    labels: Array  # (alphabet, bits) uint8: symbol -> witness bits
    positions: Array  # (1, blocks, n) int: witness bits of every block; -1 = none, reads as 0
    sketch: Sketch
    extraction: Extraction
    key_bits: int

    def __post_init__(self) -> None:
        if not isinstance(self.key_bits, Integral) or not 1 <= self.key_bits <= self.secret_bits:
            raise ValueError(
                f"`key_bits` must be 1 to {self.secret_bits}, which is the secret, got {self.key_bits!r}"
            )

    @property
    def symbols(self) -> int:
        """Witness symbols that the blocks read."""
        bits: int = self.labels.shape[1]
        return int(self.positions.max()) // bits + 1

    @property
    def secret_bits(self) -> int:
        blocks: int = self.positions.shape[1]
        return blocks * self.sketch.k

    @property
    def corrects(self) -> int:
        """Wrong bits in every block that are corrected whatever their places."""
        stated: int | None = getattr(self.sketch, "corrects", None)
        if stated is None:  # a sketch need not say
            raise AttributeError("this sketch does not say how many errors it corrects")
        return stated

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits) and everything that is published."""
        secret, sketched = self.sketch.commit(self._blocks(witness), rng=rng)
        drawn = self.extraction.public(
            len(secret), secret_bits=self.secret_bits, key_bits=self.key_bits, rng=rng
        )
        helper = {**sketched, **drawn}
        return self.finish(secret, helper), helper

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys, zero where not accepted; accepted if acquired and every block was corrected."""
        secret, corrected = self.sketch.recover(self._blocks(witness), helper)
        accepted = witness.acquired & corrected.all(axis=1)
        return self.finish(secret, helper) * accepted[:, None].astype(np.uint8), accepted

    def linear(self, helper: Helper) -> Linear:
        """What the sketch gives away."""
        return self.sketch.linear(helper, self.positions)

    def finish(self, secret: Array, helper: Helper) -> Array:
        """Keys of secrets (attempts, blocks * k)."""
        return self.extraction.key(secret, helper, key_bits=self.key_bits)

    def _blocks(self, witness: Witness) -> Array:
        bits = self.labels[witness.symbols].reshape(len(witness.symbols), -1)
        with_empty = np.pad(bits, ((0, 0), (0, 1)))  # index -1 reaches the appended 0
        return with_empty[:, self.positions[0]]


def commitment(
    *,
    labels: Array,
    blocks: int,
    straddle: bool,
    sketch: str | Sketch,
    code: str | Code,
    extraction: str | Extraction,
    key_bits: int,
) -> Commitment:
    """Compose a `Commitment` of names or objects.

    Parameters
    ----------
    labels : uint8, shape (alphabet, bits)
        Witness bits of every symbol.
    blocks : int
        Blocks of the sketch, at least 1.
    straddle : bool
        Whether a symbol may lie across two blocks; else the bits left over in a block stay empty.
    sketch, code, extraction
        Each a name or an object; `code` serves only a sketch that is given by name.
    key_bits : int
        At most the secret bits of all blocks.

    Raises
    ------
    ValueError
        If a name is unknown or a number is out of range.
    """
    if not isinstance(blocks, Integral) or blocks < 1:
        raise ValueError(f"`blocks` must be a whole number of at least 1, got {blocks!r}")
    chosen = sketch_named(sketch, code) if isinstance(sketch, str) else sketch
    layout = (
        consecutive_bits(blocks, chosen.n) if straddle else whole_symbols(blocks, chosen.n, labels.shape[1])
    )
    return Commitment(
        labels=labels,
        positions=layout,
        sketch=chosen,
        extraction=extraction_named(extraction) if isinstance(extraction, str) else extraction,
        key_bits=key_bits,
    )


def whole_symbols(blocks: int, n: int, bits: int) -> Array:
    """Positions (1, blocks, n) that fill every block with whole symbols and leave the rest empty.

    Raises
    ------
    ValueError
        If not even one symbol of `bits` bits fits into `n`.

    Examples
    --------
    >>> whole_symbols(2, 3, 2).tolist()
    [[[0, 1, -1], [2, 3, -1]]]
    """
    used = n // bits * bits
    if not used:
        raise ValueError(f"a block must hold at least one symbol of {bits} bits, and it has {n} bits")
    positions = np.full((1, blocks, n), -1)
    positions[0, :, :used] = np.arange(blocks * used).reshape(blocks, used)
    return positions


def consecutive_bits(blocks: int, n: int) -> Array:
    """Positions (1, blocks, n) that read the witness bits one after the other."""
    return np.arange(blocks * n).reshape(1, blocks, n)
