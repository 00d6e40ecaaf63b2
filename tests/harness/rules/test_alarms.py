"""Sound schemes at the sizes where a rule once cried wolf."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from rule_cases import of_scheme
from scipy.stats import binom

from harness.detectors.repeats import repeated_p_value
from harness.entropy_findings import entropy_findings
from harness.estimators.entropy.given_helper import estimated_min_entropy, min_entropy_understated
from harness.results import Finding, measured
from harness.rules import SHARE


def short_of_promise(shares: Any, *, people: int, seed: int) -> bool:
    """Seventy-five bits from fifteen blocks of two symbols of sixteen, three of eight bits published."""
    blocks = 15
    checks = ("11101000", "11010100", "10110010")  # of the [7,4] code; the last bit stands alone
    source: dict[str, Any] = {
        "labels": np.array([[i >> b & 1 for b in (3, 2, 1, 0)] for i in range(16)], np.uint8),
        "parity": np.array([[int(bit) for bit in row] for row in checks], np.uint8),
        "positions": np.arange(8 * blocks).reshape(blocks, 8),
        "limit": 5.0 * blocks,
    }
    rng = np.random.default_rng(seed)
    symbols = rng.choice(16, size=(3 * people, 2 * blocks), p=shares).astype(np.uint8)
    subject = np.repeat(np.arange(people), 3)
    left = measured(
        estimated_min_entropy(symbols, subject, **source),
        scheme="s",
        attack=None,
        measure="min-entropy",
        data="simulated",
    )

    def say(id: str, severity: str, text: str, **details: Any) -> Finding:
        return Finding(id=id, severity=severity, scheme="s", attack=None, text=text, details=details)

    told = entropy_findings(
        [left], say, key_bits=5 * blocks, understated=min_entropy_understated(symbols, subject, **source)
    )
    return [f.id for f in told] == ["less-entropy-than-promised"]


def test_sixteen_even_symbols_of_few_people_leave_what_they_promise() -> None:
    """The likeliest of many symbols that are alike stands out by chance: in 46 of 60 such audits, once."""
    flagged = sum(short_of_promise(None, people=10, seed=seed) for seed in range(40))
    assert binom.sf(flagged - 1, 40, 0.01) > 0.005
    uneven = np.full(16, 0.8 / 15)
    uneven[3] = 0.2
    assert all(short_of_promise(uneven, people=30, seed=seed) for seed in range(3))


@pytest.mark.parametrize("key_bits", [1, 4, 8])
def test_short_keys_that_are_uniform_repeat_as_seldom_as_promised(key_bits: int) -> None:
    """Three equal keys make three pairs at once, so that their number spreads further than Poisson's."""
    rounds = 4000
    held = np.random.default_rng(3).multinomial(600, np.full(2**key_bits, 0.5**key_bits), size=rounds)
    pairs, often = np.unique((held * (held - 1) // 2).sum(axis=1), return_counts=True)
    loud = [repeated_p_value(int(p), 600, key_bits) <= SHARE for p in pairs]
    flagged = int(often[loud].sum())
    assert binom.sf(flagged - 1, rounds, SHARE) > 0.005
    many = {"pairs": int(pairs.max() * 1.2), "keys": 600, "expected-pairs": 179700 / 2**key_bits}
    assert repeated_p_value(many["pairs"], 600, key_bits) < SHARE


def test_repeats_are_judged_by_the_length_of_the_key() -> None:
    few = {"pairs": 1, "keys": 100, "expected-pairs": 4950 / 2**12}
    assert of_scheme(repeats=few) == []
    assert of_scheme(repeats={"pairs": 0, "keys": 100, "expected-pairs": 0.0}) == []
