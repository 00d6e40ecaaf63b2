"""Errors and erasures of Reed-Solomon words, over the word axis: syndromes, locator, roots, values."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from harness.contracts import Array, frozen
from schemes.codes.field import Field, field

__all__ = ["corrected_symbols"]

_CHUNK = 1 << 10  # words at a time: rows of the root search stay in cache


def corrected_symbols(received: Array, erased: Array | None, *, checks: int, m: int) -> tuple[Array, Array]:
    """Correct words (count, symbols), and (count,) bool: True where a codeword lay within reach.

    `erased`, (count, symbols) bool, marks symbols not to be trusted. A word out of reach comes back
    as it was.
    """
    corrected = np.array(received)
    decoded = np.empty(len(received), np.bool_)
    for start in range(0, len(received), _CHUNK):
        part = slice(start, start + _CHUNK)
        marks = None if erased is None else erased[part]
        decoded[part] = _correct(corrected[part], marks, checks, field(m))
    return corrected, decoded


def _correct(words: Array, erased: Array | None, checks: int, over: Field) -> Array:
    """Correct `words` in place; (count,) bool: which of them could be."""
    symbols = words.shape[1]
    top = checks // 2 if erased is None else checks  # degree of a locator within reach, at most
    syndromes = _syndromes(words, checks, over)
    locator, degree, known = _locator(syndromes, erased, over)
    tables = _place_tables(symbols, top, over.m)
    even = _evaluate(locator[0 : top + 1 : 2], tables[::2], symbols)
    odd = _evaluate(locator[1 : top + 1 : 2], tables[1::2], symbols)
    errors = even == odd  # the locator is zero there
    known = known & (errors.sum(axis=1) == degree)
    errors &= known[:, None]
    row, column = np.nonzero(errors)
    if row.size:
        # Forney: the value at X is Ω(1/X) / Λ'(1/X), and Λ'(1/X) is X times the odd part of Λ
        values = _evaluate(_evaluator(locator, syndromes[:top], over), tables, symbols)[row, column]
        inverse_place = over.exp[-(symbols - 1 - column) % over.n]
        slope = over.inverses.take(odd[row, column])
        words[row, column] ^= over.times(over.times(values, inverse_place), slope)
    return np.asarray(known)


@lru_cache(maxsize=16)
def _syndrome_tables(symbols: int, checks: int, m: int) -> Array:
    """(symbols, 2^m, lanes) uint64: what every value at every place adds to the syndromes, a byte each."""
    over = field(m)
    powers = over.exp[np.arange(symbols - 1, -1, -1)[:, None] * np.arange(1, checks + 1) % over.n]
    table = np.zeros((symbols, over.n + 1, -(-checks // 8) * 8), np.uint8)
    table[..., :checks] = over.times(np.arange(over.n + 1)[None, :, None], powers[:, None])
    return frozen(table.view(np.uint64))


def _syndromes(words: Array, checks: int, over: Field) -> Array:
    """(checks, count) uint8: row s is the word at the power s + 1 of the primitive element."""
    tables = _syndrome_tables(words.shape[1], checks, over.m)
    lanes = tables[0].take(words[:, 0], axis=0)
    for place in range(1, len(tables)):
        lanes ^= tables[place].take(words[:, place], axis=0)
    return np.ascontiguousarray(lanes.view(np.uint8)[:, :checks].T)


def _locator(syndromes: Array, erased: Array | None, over: Field) -> tuple[Array, Array, Array]:
    """Locator of errors and erasures (checks + 1, count), its degree, and whether that is within reach."""
    checks, count = syndromes.shape
    locator = np.zeros((checks + 1, count), np.uint8)
    locator[0] = 1
    lost = np.zeros(count, np.int64)
    if erased is not None:
        lost = erased.sum(axis=1)
        _take_in(locator, erased & (lost <= checks)[:, None], over)
    spare = locator.copy()  # the locator before its degree last grew, over its discrepancy
    degree = lost.copy()
    for step in range(checks):
        shifted = np.concatenate([np.zeros_like(spare[:1]), spare[:-1]])
        spare = np.where(step >= lost, shifted, spare)
        terms = over.times(locator[: step + 1], syndromes[step::-1])
        discrepancy = np.bitwise_xor.reduce(terms, axis=0)
        discrepancy[step < lost] = 0  # as many steps as erasures are already made
        if not discrepancy.any():
            continue
        grows = (discrepancy != 0) & (2 * degree <= step + lost)
        scaled = over.times(locator, over.inverses.take(discrepancy))
        locator ^= over.times(spare, discrepancy)
        np.copyto(spare, scaled, where=grows)
        degree = np.where(grows, step + 1 + lost - degree, degree)
    return locator, degree, 2 * degree - lost <= checks


def _take_in(locator: Array, erased: Array, over: Field) -> None:
    """Multiply the locators by (1 - X x) for every erased place X."""
    symbols = erased.shape[1]
    for place in np.flatnonzero(erased.any(axis=0)):
        factor = over.exp[(symbols - 1 - place) % over.n] * erased[:, place]
        locator[1:] ^= over.times(locator[:-1], factor.astype(np.uint8))


def _evaluator(locator: Array, syndromes: Array, over: Field) -> Array:
    """Syndrome polynomial times locator, up to the power checks - 1: (checks, count)."""
    found = np.zeros_like(syndromes)
    for power in range(len(syndromes)):
        found[power:] ^= over.times(locator[power], syndromes[: len(syndromes) - power])
    return found


@lru_cache(maxsize=16)
def _place_tables(symbols: int, top: int, m: int) -> Array:
    """(top + 1, 2^m, lanes) uint64: coefficient i of value v at the inverse of every place, a byte each."""
    over = field(m)
    inverse = over.exp[-np.arange(top + 1)[:, None] * np.arange(symbols - 1, -1, -1) % over.n]
    table = np.zeros((top + 1, over.n + 1, -(-symbols // 8) * 8), np.uint8)
    table[..., :symbols] = over.times(np.arange(over.n + 1)[None, :, None], inverse[:, None])
    return frozen(table.view(np.uint64))


def _evaluate(coefficients: Array, tables: Array, symbols: int) -> Array:
    """(count, symbols): what the coefficients (powers, count) add up to at the inverse of every place."""
    lanes = tables[0].take(coefficients[0], axis=0)
    for power in range(1, len(coefficients)):
        lanes ^= tables[power].take(coefficients[power], axis=0)
    found: Array = lanes.view(np.uint8)[:, :symbols]
    return found
