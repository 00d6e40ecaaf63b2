"""Secure sketches: what device A publishes so that B can correct its witness to A's.

References
----------
Juels and Wattenberg, A fuzzy commitment scheme, ACM CCS 1999.
Dodis, Ostrovsky, Reyzin and Smith, SIAM J. Comput. 38 (2008) 97-139: both constructions below.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol, runtime_checkable

import numpy as np

from harness.contracts import Array, Helper, Linear
from schemes import gf2
from schemes.codes import Code
from schemes.codes import code as code_named

__all__ = ["SKETCHES", "CodeOffset", "Sketch", "SyndromeSketch", "sketch_named"]


@runtime_checkable
class Sketch(Protocol):
    """Witness bits come in blocks of `n`, each of which carries `k` secret bits."""

    @property
    def n(self) -> int: ...
    @property
    def k(self) -> int: ...

    def commit(self, bits: Array, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: of bits (attempts, blocks, n) the secret (attempts, blocks * k), and what is public."""
        ...

    def recover(self, bits: Array, helper: Helper) -> tuple[Array, Array]:
        """Device B: secret (attempts, blocks * k), and (attempts, blocks) bool: block corrected."""
        ...

    def linear(self, helper: Helper, positions: Array) -> Linear:
        """What the published arrays say about the bits, which stand at `positions` of the witness."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeOffset:
    """Publishes the witness XOR a random codeword; the secret is that codeword's message."""

    code: Code

    def __post_init__(self) -> None:
        _require_systematic(self.code)

    @property
    def n(self) -> int:
        return self.code.n

    @property
    def k(self) -> int:
        return self.code.k

    def commit(self, bits: Array, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Secret (attempts, blocks * k), and "offset" (attempts, blocks, n) uint8."""
        message = rng.integers(0, 2, (*bits.shape[:2], self.k), dtype=np.uint8)
        return message.reshape(len(bits), -1), {"offset": self.code.encode(message) ^ bits}

    def recover(self, bits: Array, helper: Helper) -> tuple[Array, Array]:
        """Decode the offset as seen from B's own bits."""
        message, corrected = self.code.decode(helper["offset"] ^ bits)
        return message.reshape(len(bits), -1), corrected

    def linear(self, helper: Helper, positions: Array) -> Linear:
        """Witness and offset differ by a codeword, so their syndromes are equal."""
        offset = helper["offset"]
        return Linear(
            positions=positions,
            parity=self.code.parity,
            syndrome=gf2.product(offset, self.code.parity.T),
            secret_map=np.eye(self.k, self.n, dtype=np.uint8),
            secret_offset=offset[..., : self.k],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SyndromeSketch:
    """Publishes the syndrome of the witness; the secret is its first k bits, which no check fixes."""

    code: Code

    def __post_init__(self) -> None:
        _require_systematic(self.code)

    @property
    def n(self) -> int:
        return self.code.n

    @property
    def k(self) -> int:
        return self.code.k

    def commit(self, bits: Array, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Secret (attempts, blocks * k), and "syndrome" (attempts, blocks, n - k) uint8; draws nothing."""
        secret = bits[..., : self.k].reshape(len(bits), -1)
        return secret, {"syndrome": gf2.product(bits, self.code.parity.T)}

    def recover(self, bits: Array, helper: Helper) -> tuple[Array, Array]:
        """Turn B's bits, by their check part, into a word whose errors are those between A and B."""
        word = np.array(bits)
        # as H = [Aᵀ | I], A's own bits would become a codeword with the same first k bits
        word[..., self.k :] ^= helper["syndrome"]
        message, corrected = self.code.decode(word)
        return message.reshape(len(bits), -1), corrected

    def linear(self, helper: Helper, positions: Array) -> Linear:
        """The syndrome as published; the secret is read off without an offset."""
        syndrome = helper["syndrome"]
        return Linear(
            positions=positions,
            parity=self.code.parity,
            syndrome=syndrome,
            secret_map=np.eye(self.k, self.n, dtype=np.uint8),
            secret_offset=np.zeros((*syndrome.shape[:2], self.k), np.uint8),
        )


SKETCHES: Mapping[str, Callable[..., Sketch]] = MappingProxyType(
    {"code-offset": CodeOffset, "syndrome": SyndromeSketch}
)


def sketch_named(name: str, code: str | Code) -> Sketch:
    """Return the sketch called `name` over `code`, itself a name or an object.

    Raises
    ------
    ValueError
        If either is unknown; the message gives the nearest name.
    """
    if name not in SKETCHES:
        near = difflib.get_close_matches(name, SKETCHES, n=1, cutoff=0)[0]
        raise ValueError(
            f"`sketch` must be one of {', '.join(SKETCHES)}, got {name!r}; the nearest is {near!r}"
        )
    return SKETCHES[name](code=code_named(code) if isinstance(code, str) else code)


def _require_systematic(code: Code) -> None:
    if not np.array_equal(code.generator[:, : code.k], np.eye(code.k)):
        raise ValueError(f"`code` must be systematic, its generator [I | A], and {code.name} is not")
