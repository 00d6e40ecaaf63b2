"""Witnesses that are wrong in so many places, and in no fewer."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from harness import validate
from harness.checks.handing import writeable
from harness.checks.outcomes import CouldNotRun, NotApplicable
from harness.checks.scheme_case import TRIED, SchemeCase
from harness.contracts import Array, Helper, Witness
from harness.errors import ContractError

__all__ = ["with_errors"]

Known: TypeAlias = Callable[[int, int], bool]  # can this symbol stand at that place?


def with_errors(
    case: SchemeCase, a: Witness, helper: Helper, count: int, rng: np.random.Generator, rows: Array
) -> Witness:
    """A's witness with `count` wrong bits in every block of `linear`, or `count` wrong symbols.

    Features of a wrong symbol are those of an attempt that has it: a scheme that reads features finds the
    error there as well.

    Parameters
    ----------
    rows : (some,) int
        Attempts that have to be wrong in so many places; all places where there are fewer.

    Raises
    ------
    NotApplicable
        If no other attempt has features for so many wrong symbols.
    CouldNotRun
        If labels do not allow so many wrong bits.
    """
    held = {} if a.features is None else _features(case)
    known: Known = (lambda place, symbol: True) if a.features is None else (lambda *at: at in held)
    symbols = np.array(a.symbols)
    by_bits = all(callable(getattr(case.scheme, member, None)) for member in ("linear", "finish"))
    if by_bits:
        fewest = _wrong_bits(symbols, _layout(case, a, helper), count, rng, rows, known)
    else:
        fewest = _wrong_symbols(symbols, a.alphabet, count, rng, rows, known)
    if fewest < count:
        if a.features is not None:
            raise NotApplicable(
                f"no other attempts have features for {count} errors: they give no more than {fewest}"
            )
        raise CouldNotRun(f"labels allow no more than {fewest} wrong bits in a block, {count} are stated")
    features = None if a.features is None else np.array(a.features)
    if features is not None:
        for row, place in np.argwhere(symbols != a.symbols).tolist():
            features[row, place] = held[place, int(symbols[row, place])]
    return Witness(symbols=symbols, alphabet=a.alphabet, acquired=a.acquired, features=features)


def _features(case: SchemeCase) -> dict[tuple[int, int], Array]:
    """(place, symbol) -> the features of an attempt that has this symbol there."""
    found: dict[tuple[int, int], Array] = {}
    witnesses = list(case.witnesses)
    for index in range(min(TRIED, len(case.people.sittings()))):
        try:
            witnesses += [case.sense(case.fresh(), capture) for capture in case.captures(index)]
        except ContractError:  # another check's matter
            continue
    for witness in witnesses:
        if witness.features is None:
            continue
        for row in np.flatnonzero(witness.acquired).tolist():
            for place, symbol in enumerate(witness.symbols[row].tolist()):
                found.setdefault((place, symbol), witness.features[row, place])
    return found


def _wrong_symbols(
    symbols: Array, alphabet: int, count: int, rng: np.random.Generator, rows: Array, known: Known
) -> int:
    """Makes symbols wrong where they stand; how many at least, `count` if all there are."""
    fewest = count
    for row in rows.tolist():
        done = 0
        for place in rng.permutation(symbols.shape[1]).tolist():
            here = int(symbols[row, place])
            others = [
                (here + shift) % alphabet
                for shift in range(1, alphabet)
                if known(place, (here + shift) % alphabet)
            ]
            if others and done < count:
                symbols[row, place] = others[int(rng.integers(len(others)))]
                done += 1
        fewest = min(fewest, count if done == symbols.shape[1] else done)
    return fewest


def _layout(case: SchemeCase, a: Witness, helper: Helper) -> tuple[Array, Array]:
    """The scheme's labels, and the positions of its blocks."""
    own = case.fresh()
    labels = validate.bits(case.plugin, "labels", own.labels, (a.alphabet, None))
    told = case.ask("linear()", own.linear, writeable(helper))
    bits = a.symbols.shape[1] * labels.shape[1]
    return labels, validate.linear(case.plugin, told, len(a.acquired), bits).positions


def _wrong_bits(
    symbols: Array,
    layout: tuple[Array, Array],
    count: int,
    rng: np.random.Generator,
    rows: Array,
    known: Known,
) -> int:
    """Makes symbols wrong by so many bits in every block; how many at least, `count` if all there are."""
    labels, positions = layout
    width = labels.shape[1]
    named = {row.tobytes(): symbol for symbol, row in enumerate(labels)}
    fewest = count
    for row in rows.tolist():
        bits = np.array(labels[symbols[row]]).reshape(-1)
        for block in positions[row % len(positions)]:
            places = rng.permutation(block[block >= 0]).tolist()
            done = _turned(bits, places, count, width, named, known)
            fewest = min(fewest, count if done == len(places) else done)
        symbols[row] = [named[word.tobytes()] for word in bits.reshape(-1, width)]
    return fewest


def _turned(
    bits: Array, places: list[int], count: int, width: int, named: dict[bytes, int], known: Known
) -> int:
    """Turns up to `count` of these bits where labels name what comes of it; how many."""
    left, done = list(places), 0
    while done < count:
        for place in left:
            symbol = place // width
            word = bits[symbol * width : (symbol + 1) * width].copy()
            word[place % width] ^= 1
            # labels need not name every word of their length; with another bit turned they may
            if word.tobytes() in named and known(symbol, named[word.tobytes()]):
                bits[place] ^= 1
                left.remove(place)
                done += 1
                break
        else:
            break
    return done
