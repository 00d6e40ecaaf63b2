"""The fifteen tests on a million bits of π and e: NIST SP 800-22 rev. 1a (2010), appendix B.

The integer part is included. The appendix rests on figures that are off in a digit or two (`printed`):
chances of longest runs to four digits, older chances of overlapping templates, .01047 for 1/96 among
complexities, and a variance of spectral heights that is too small. What the tests use otherwise is derived.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import mpmath
import numpy as np
import pytest

from harness.contracts import Array
from harness.estimators.randomness import counts, excursions, patterns, structure

BITS = 10**6


@cache
def bits_of(name: str) -> Array:
    with mpmath.workprec(BITS + 100):
        value = +mpmath.pi if name == "pi" else +mpmath.e
        text = bin(int(mpmath.floor(mpmath.ldexp(value, BITS - 2))))[2:]  # both begin with 3 or 2: two bits
    return np.frombuffer(text.encode(), np.uint8)[None, :] - 48


TABLE = [
    ("frequency", counts.frequency, {}, 0, 0.578211, 0.953749),
    ("block frequency", counts.block_frequency, {"block": 128}, 0, 0.380615, 0.211072),
    ("runs", counts.runs, {}, 0, 0.419268, 0.561917),
    ("longest run", counts.longest_run, {"figures": "printed"}, 0, 0.024390, 0.718945),
    ("rank", structure.matrix_rank, {}, 0, 0.083553, 0.306156),
    ("spectral", structure.spectral, {"figures": "printed"}, 0, 0.010186, 0.847187),
    ("template 000000001", patterns.non_overlapping_templates, {"templates": [1]}, 0, 0.165757, 0.078790),
    ("overlapping, older", patterns.overlapping_template, {"figures": "printed"}, 0, 0.296897, 0.110434),
    ("universal", structure.universal, {}, 0, 0.669012, 0.282568),
    ("approximate entropy", patterns.approximate_entropy, {"m": 10}, 0, 0.361595, 0.700073),
    ("excursions at 1", excursions.excursions, {}, 4, 0.844143, 0.786868),
    ("variant at -1", excursions.excursions_variant, {}, 8, 0.760966, 0.826009),
    ("linear complexity 500", structure.linear_complexity, {"figures": "printed"}, 0, 0.255475, 0.826335),
    ("serial 16, first", patterns.serial, {"m": 16}, 0, 0.143005, 0.766182),
]


@pytest.mark.parametrize("name", ["pi", "e"])
@pytest.mark.parametrize(
    ("test", "options", "outcome", "pi", "e"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE]
)
def test_published_p_values(
    name: str, test: Callable[..., Array], options: dict[str, Any], outcome: int, pi: float, e: float
) -> None:
    published = pi if name == "pi" else e
    assert test(bits_of(name), **options)[0, outcome] == pytest.approx(published, abs=1e-6)


@pytest.mark.parametrize(("name", "p"), [("pi", 0.260700), ("e", 0.159027)])
def test_published_p_values_of_the_revised_overlapping_template(
    name: str, p: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Published with chances rounded to six digits; ours are exact, and differ by some 1e-5."""
    ours = patterns.overlapping_template(bits_of(name))[0, 0]
    rounded = patterns.run_chances().round(6)
    monkeypatch.setattr(patterns, "run_chances", lambda figures: rounded)
    assert patterns.overlapping_template(bits_of(name))[0, 0] == pytest.approx(p, abs=1e-6)
    assert ours == pytest.approx(p, abs=3e-5)


@pytest.mark.parametrize(("name", "p"), [("pi", (0.628308, 0.663369)), ("e", (0.669887, 0.724266))])
def test_published_sums(name: str, p: tuple[float, float]) -> None:
    """The standard's own normal distribution differs in the last digit."""
    assert counts.cumulative_sums(bits_of(name))[0] == pytest.approx(p, abs=2e-6)
