"""Tests of randomness and what their p-values say together."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.estimators.randomness import bits, counts, excursions, patterns, structure, suite
from pinned_figures.plain import tried


def sequences(n: int) -> Array:
    """Fair bits, more ones than zeros, more zeros, and steps."""
    rng = np.random.default_rng(n)
    fair, uneven = rng.integers(0, 2, n), rng.random(n) < 0.56
    return np.stack([fair, uneven, rng.random(n) < 0.47, np.arange(n) // 3 % 2]).astype(np.uint8)


def returning(n: int) -> Array:
    """Walks that come back after every twenty steps."""
    draw = np.random.default_rng(n)
    steps = np.tile(np.arange(20) % 2, (3, n // 20, 1)).astype(np.uint8)
    return np.asarray(draw.permuted(steps, axis=2).reshape(3, -1))


def over(function: Callable[..., Any], *lengths: int, **named: Any) -> Any:
    return [tried(function, sequences(n), **named) for n in lengths]


FIGURES: dict[str, Callable[[], Any]] = {
    "frequency": lambda: over(counts.frequency, 99, 100, 101, 2000),
    "block-frequency": lambda: [
        over(counts.block_frequency, 100, 101, 1999, 2000, 2001, 9999, 12_000, block=block)
        for block in (None, 1, 2, 7, 20, 100)
    ],
    "runs": lambda: over(counts.runs, 99, 100, 101, 2000),
    "longest-run": lambda: [
        over(counts.longest_run, 127, 128, 6271, 6272, 20_000, figures=f)
        for f in ("corrected", "printed", "x")
    ],
    "longest-run-long": lambda: over(counts.longest_run, 749_999, 750_000),
    "longest-run-chances": lambda: [
        counts.longest_run_chances(8, 1, 4),
        counts.longest_run_chances(12, 2, 5),
    ],
    "cumulative-sums": lambda: over(counts.cumulative_sums, 99, 100, 101, 128, 500, 501, 502, 503, 2000),
    "excursions": lambda: over(excursions.excursions, 1000, 100_000, 400_000),
    "excursions-variant": lambda: over(excursions.excursions_variant, 1000, 100_000, 400_000),
    "excursions-returning": lambda: [
        [excursions.excursions(returning(n)), excursions.excursions_variant(returning(n))]
        for n in (9_000, 12_000, 30_000)
    ],
    "run-chances": lambda: [patterns.run_chances(), patterns.run_chances("printed")],
    "templates": lambda: [tried(patterns.aperiodic_templates, m) for m in (1, 2, 3, 5, 9)],
    "non-overlapping": lambda: [
        over(patterns.non_overlapping_templates, 500, 1024, 4000, 9000, m=m) for m in (None, 2, 3, 4)
    ],
    "non-overlapping-chosen": lambda: over(
        patterns.non_overlapping_templates, 3000, templates=np.array([1, 3]), m=3
    ),
    "overlapping": lambda: [
        over(patterns.overlapping_template, 10_000, 300_000, figures=f) for f in ("corrected", "printed")
    ],
    "serial": lambda: [over(patterns.serial, 60, 100, 128, 129, 1000, m=m) for m in (None, 1, 2, 3, 5)],
    "approximate-entropy": lambda: [
        over(patterns.approximate_entropy, 60, 100, 128, 257, 3000, m=m) for m in (None, 0, 1, 2, 4)
    ],
    "matrix-rank": lambda: over(structure.matrix_rank, 38_911, 38_912, 41_000),
    "spectral": lambda: [
        over(structure.spectral, 999, 1000, 1001, figures=f) for f in ("corrected", "printed")
    ],
    "universal": lambda: over(structure.universal, 387_839, 387_840, 400_000),
    "complexity": lambda: [
        over(structure.linear_complexity, 100_000, block=block, figures=f)
        for block in (499, 500)
        for f in ("corrected", "printed")
    ],
    "complexity-chances": lambda: [structure.complexity_chances(b) for b in (500, 501, 1000)],
    "shortest-registers": lambda: [structure.shortest_registers(sequences(n)) for n in (1, 2, 9, 64, 65)],
    "suite": lambda: [suite.p_values(sequences(n)) for n in (120, 5000)],
    "assess": lambda: [
        tried(suite.assess, np.array(p), alpha=alpha)
        for p in (
            [],
            [float("nan")],
            [0.3],
            [1.5],
            np.linspace(0, 1, 54),
            np.linspace(0, 1, 55),
            np.append(np.linspace(0, 1, 80) ** 2, float("nan")),
            np.linspace(0, 0.2, 60),
        )
        for alpha in (0.0, 0.01, 0.2, 1.0)
    ],
    "require-bits": lambda: [
        tried(bits.require_bits, np.array(b), least=3, test="a figure")
        for b in ([[0, 1]], [[0, 1, 1]], [[0, 1, 2]], [0, 1, 1], [[True, False, True]], [[0.0, 1, 1]])
    ],
    "require-size": lambda: [
        tried(bits.require_size, size, name="m", least=2, most=most)
        for size in (1, 2, 3, 4, 2.5, True)
        for most in (None, 2, 3)
    ],
}
