"""What is left of a key is asked of the symbols that its blocks read, wherever each attempt reads them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.entropy_measures import partly_read, read_symbols
from harness.errors import InsufficientData

SYMBOLS = np.arange(12).reshape(2, 6) % 4


def test_positions_that_are_alike_are_taken_as_they_are() -> None:
    positions = np.array([[[0, 1, 4, 5, -1]]])
    for several in (positions, np.repeat(positions, 2, axis=0)):
        symbols, at = read_symbols(SYMBOLS, several, bits=2)
        assert symbols is SYMBOLS
        assert np.array_equal(at, positions[0])


def test_each_attempt_reads_its_own() -> None:
    positions = np.array([[[0, 1, 4, 5, -1]], [[2, 3, 10, 11, -1]]])
    symbols, at = read_symbols(SYMBOLS, positions, bits=2)
    assert symbols.tolist() == [[SYMBOLS[0, 0], SYMBOLS[0, 2]], [SYMBOLS[1, 1], SYMBOLS[1, 5]]]
    assert at.tolist() == [[0, 1, 2, 3, -1]]


@given(st.integers(0, 2**32 - 1), st.integers(1, 3))
def test_bits_read_are_the_same_bits(seed: int, bits: int) -> None:
    rng = np.random.default_rng(seed)
    symbols = rng.integers(0, 2**bits, (5, 8))
    chosen = np.stack([rng.permutation(8)[:6] for _ in range(5)])
    positions = (chosen[:, :, None] * bits + np.arange(bits)).reshape(5, 2, 3 * bits)
    read, at = read_symbols(symbols, positions, bits=bits)

    def words(values: np.ndarray, places: np.ndarray) -> np.ndarray:
        flat = (values[:, :, None] >> np.arange(bits)[::-1] & 1).reshape(len(values), -1)
        return np.take_along_axis(
            flat, np.broadcast_to(places, (5, *places.shape[-2:])).reshape(5, -1), axis=1
        )

    assert np.array_equal(words(read, at), words(symbols, positions))


@pytest.mark.parametrize(
    ("positions", "sentence"),
    [
        ([[[0, 1, 2, 3]], [[1, 2, 4, 5]]], "whole symbols in their order"),
        ([[[0, 1, 2, 3]], [[1, 0, 2, 3]]], "whole symbols in their order"),
        ([[[0, 1, -1, -1]], [[0, 1, 2, 3]]], "alike in all attempts"),
    ],
)
def test_what_is_no_such_reading_is_said_not_to_be_known(positions: list, sentence: str) -> None:
    with pytest.raises(InsufficientData, match=sentence):
        read_symbols(SYMBOLS, np.array(positions), bits=2)


def test_bits_that_no_block_reads_are_counted_once() -> None:
    positions = np.array([[0, 1, 2, -1], [2, 4, 5, -1]])  # of symbol 1 only its first bit, twice
    assert partly_read(positions, bits=2) == (3, 1)
    assert partly_read(np.arange(6).reshape(2, 3), bits=2) == (3, 0)
