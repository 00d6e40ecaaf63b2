"""Witnesses that are wrong in so many places."""

from __future__ import annotations

import numpy as np

from harness import validate
from harness.checks.handing import writeable
from harness.checks.scheme_case import SchemeCase
from harness.contracts import Array, Helper, Witness

__all__ = ["with_errors"]


def with_errors(
    case: SchemeCase, a: Witness, helper: Helper, count: int, rng: np.random.Generator
) -> Witness | None:
    """A's witness with `count` wrong bits in every block of `linear`, or `count` wrong symbols.

    None if that cannot be, as where no other symbol differs in one bit alone.
    """
    symbols = np.array(a.symbols)
    if all(callable(getattr(case.scheme, member, None)) for member in ("linear", "finish")):
        wrong = _wrong_bits(case, a, helper, count, rng)
        if wrong is None:
            return None
        symbols = wrong
    else:
        for row in range(len(symbols)):
            places = rng.choice(symbols.shape[1], min(count, symbols.shape[1]), replace=False)
            shift = rng.integers(1, a.alphabet, len(places))
            symbols[row, places] = (symbols[row, places] + shift) % a.alphabet
    return Witness(symbols=symbols, alphabet=a.alphabet, acquired=a.acquired, features=a.features)


def _wrong_bits(
    case: SchemeCase, a: Witness, helper: Helper, count: int, rng: np.random.Generator
) -> Array | None:
    """(attempts, m) symbols, or None."""
    own, rows, m = case.fresh(), len(a.acquired), a.symbols.shape[1]
    labels = validate.bits(case.plugin, "labels", own.labels, (a.alphabet, None))
    width = labels.shape[1]
    told = case.ask("linear()", own.linear, writeable(helper))
    linear = validate.linear(case.plugin, told, rows, m * width)
    bits = np.array(labels[a.symbols]).reshape(rows, -1)
    named = {row.tobytes(): symbol for symbol, row in enumerate(labels)}
    done = 0
    for row in range(rows):
        for block in linear.positions[row % len(linear.positions)]:
            left = count
            for place in rng.permutation(block[block >= 0]).tolist():
                trial = bits[row].copy()
                trial[place] ^= 1
                symbol = place // width
                # labels need not name every word of their length
                if left and trial[symbol * width : (symbol + 1) * width].tobytes() in named:
                    bits[row], left, done = trial, left - 1, done + 1
    if count and not done:
        return None
    words = bits.reshape(rows, m, width)
    found = [[named[words[row, i].tobytes()] for i in range(m)] for row in range(rows)]
    return np.array(found, np.uint8)
