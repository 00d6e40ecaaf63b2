"""Rates by every usual way of counting, and the one that counts.

The figures of the three-symbol configuration (0.15 s, two bits a symbol, Golay (23,12), 22 bits and one
empty position a block) are common practice.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from harness.contracts import Estimate
from harness.estimators.entropy.given_helper import average_min_entropy, pattern_slots
from harness.estimators.rate import net_rate, rates, time_to_strength, usual_bits
from schemes.codes import golay23

LABELS = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)


def estimate(value: float, low: float, high: float, *, unit: str = "s", side: str = "estimate") -> Estimate:
    return Estimate(
        value=value, low=low, high=high, level=0.95, unit=unit, side=side, evidence="counted",
        subjects=10, attempts=100, method="test",
    )  # fmt: skip


SECONDS = estimate(11 * 0.15, 11 * 0.15, 11 * 0.15)  # eleven symbols fill a block
BITS = usual_bits(
    symbols=11, alphabet=3, witness_bits=22, used_bits=22, code_length=23, parities=11, blocks=1
)


@pytest.mark.parametrize(
    ("method", "rate", "time", "rate_tolerance", "time_tolerance"),
    [
        ("symbol-log2", 10.57, 128 / 10.57, 5e-3, 0.01),
        ("code-rate-of-symbols", 5.5, 23, 0.05, 0.5),
        ("witness-bits", 13.3, 128 / 13.3, 0.05, 0.05),
        ("code-rate", 6.96, 18.4, 5e-3, 0.05),
        ("bits-minus-parities", 6.67, 19.2, 5e-3, 0.05),
    ],
)
def test_usual_ways_of_counting(
    method: str, rate: float, time: float, rate_tolerance: float, time_tolerance: float
) -> None:
    (found,) = [r for r in rates(BITS, SECONDS) if r.method == method]
    assert (found.unit, found.side) == ("bit/s", "estimate")
    assert found.value == pytest.approx(rate, abs=rate_tolerance)
    needed = time_to_strength(found)
    assert needed is not None
    assert needed.value == pytest.approx(time, abs=time_tolerance)


def test_usual_rates_are_estimates_whatever_bounds_the_time() -> None:
    (found,) = rates({"some": 33.0}, estimate(2.0, 1.5, 3.0, side="defender-at-least"))
    assert (found.value, found.low, found.high, found.side) == (16.5, 11.0, 22.0, "estimate")


def test_what_counts_is_what_is_left_given_the_helper_data() -> None:
    """6.43 bits of a block of uniform symbols: 3.90 bit/s, 32.8 s, not 18.4 s."""
    positions = np.r_[np.arange(22), -1]
    left = average_min_entropy(golay23().parity, pattern_slots(positions, LABELS, np.full((11, 3), 1 / 3)))
    assert left == pytest.approx(6.43, abs=5e-3)
    strength = estimate(left, left, left, unit="bit", side="defender-at-most")
    found = net_rate(strength, estimate(1, 1, 1, unit="probability"), SECONDS)
    assert found.value == pytest.approx(3.90, abs=5e-3)
    needed = time_to_strength(found)
    assert needed is not None
    assert needed.value == pytest.approx(32.8, abs=0.05)
    assert needed.side == "defender-at-least"


def test_ends_combine_the_least_favourable() -> None:
    found = net_rate(
        estimate(60, 50, 70, unit="bit", side="defender-at-most"),
        replace(estimate(0.5, 0.4, 0.6, unit="probability"), level=0.9),
        estimate(10, 8, 12),
    )
    assert (found.low, found.value, found.high) == pytest.approx((50 * 0.4 / 12, 3.0, 70 * 0.6 / 8))
    assert found.level == pytest.approx(0.8)
    needed = time_to_strength(found)
    assert needed is not None
    assert (needed.low, needed.high) == pytest.approx((128 / found.high, 128 / found.low))


@pytest.mark.parametrize("least", [0.0, -1.0])
def test_a_time_that_may_be_nothing_leaves_the_rate_open_above(least: float) -> None:
    seconds = estimate(1, least, 3)
    (found,) = rates({"x": 12.0}, seconds)
    assert found.low == 4
    assert np.isnan(found.high)
    bits = estimate(10, 9, 11, unit="bit", side="defender-at-most")
    assert np.isnan(net_rate(bits, estimate(1, 1, 1), seconds).high)


@pytest.mark.parametrize(
    ("side", "turned"),
    [
        ("defender-at-most", "defender-at-least"),
        ("defender-at-least", "defender-at-most"),
        ("estimate", "estimate"),
    ],
)
def test_a_bound_of_the_rate_bounds_the_time_on_the_other_side(side: str, turned: str) -> None:
    needed = time_to_strength(estimate(4, 0, 8, unit="bit/s", side=side))
    assert needed is not None
    assert (needed.value, needed.low, needed.side) == (32, 16, turned)
    assert np.isnan(needed.high)


def test_no_rate_no_time() -> None:
    assert time_to_strength(estimate(0, 0, 1, unit="bit/s")) is None


def test_parities_can_cost_more_than_the_bits() -> None:
    one = usual_bits(
        symbols=2, alphabet=4, witness_bits=4, used_bits=4, code_length=15, parities=8, blocks=1
    )
    assert one["bits-minus-parities"] == 0
