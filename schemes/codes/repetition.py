"""Repetition codes: one bit sent n times, decoded by majority."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from schemes import gf2
from schemes.codes.contract import rows

__all__ = ["Repetition", "repetition"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Repetition:
    """The [n, 1, n] code; for even n a tie is not decoded."""

    n: int

    def __post_init__(self) -> None:
        if self.n < 2:
            raise ValueError(f"`n` of a repetition code must be at least 2, got {self.n}")

    @property
    def name(self) -> str:
        return f"repetition-{self.n}"

    @property
    def k(self) -> int:
        return 1

    @property
    def t(self) -> int:
        return (self.n - 1) // 2

    @property
    def generator(self) -> Array:
        return np.ones((1, self.n), np.uint8)

    @property
    def parity(self) -> Array:
        return gf2.parity_check(self.generator)

    def encode(self, messages: Array) -> Array:
        """Words (..., n) of messages (..., 1)."""
        return rows(messages, 1).repeat(self.n, axis=1).reshape(*messages.shape[:-1], self.n)

    def decode(self, words: Array) -> tuple[Array, Array]:
        """Messages (..., 1) by majority, and where there was one."""
        flat = rows(words, self.n)
        ones = flat.sum(axis=1, dtype=np.int64)
        decided = 2 * ones != self.n
        message = np.where(decided, 2 * ones > self.n, flat[:, 0]).astype(np.uint8)
        lead = words.shape[:-1]
        return message.reshape(*lead, 1), decided.reshape(lead)


def repetition(n: int) -> Repetition:
    """Return the code that sends one bit `n` times."""
    return Repetition(n=n)
