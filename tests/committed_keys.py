"""Witnesses with the helper data of a sketch, and beliefs about them, for tests."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Linear
from harness.decoding import block_words, witness_bits
from schemes.codes import Code
from schemes.sketches import CodeOffset, SyndromeSketch

LABELS = {
    "bits": np.array([[0], [1]], np.uint8),
    "gray": np.array([[0, 0], [0, 1], [1, 1], [1, 0]], np.uint8),
    "three": np.array([[0, 0], [0, 1], [1, 1]], np.uint8),
}


def committed(
    seed: int, code: Code, labels: Array, positions: Array, *, rows: int = 3, offset: bool = True
) -> tuple[Array, Linear, Array]:
    """Symbols, what the sketch discloses of them, and the secrets that A holds."""
    rng = np.random.default_rng(seed)
    bits = labels.shape[1]
    m = -(-(int(positions.max()) + 1) // bits)
    symbols = rng.integers(0, len(labels), (rows, m)).astype(np.uint8)
    sketch = CodeOffset(code=code) if offset else SyndromeSketch(code=code)
    words = block_words(witness_bits(symbols, labels), positions)
    secret, helper = sketch.commit(words, rng=rng)
    return symbols, sketch.linear(helper, positions), secret


def believed(seed: int, shape: tuple[int, int, int], kind: str) -> Array:
    rng = np.random.default_rng(seed + 1)
    p = np.full(shape, 1 / shape[2]) if kind == "ties" else rng.dirichlet(np.full(shape[2], 0.6), shape[:2])
    p = p + 1e-9
    if kind == "impossible":
        p[rng.random(shape) < 0.15] = 0
        p[p.sum(axis=2) == 0] = 1
    with np.errstate(divide="ignore"):
        return np.log(p / p.sum(axis=2, keepdims=True))
