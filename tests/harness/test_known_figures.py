"""Figures of estimators that can be worked out by hand, where only their order was compared before."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import gammaincc
from scipy.stats import t

from harness.estimators.dependence import _information
from harness.estimators.entropy.compression import compression, compression_ceiling
from harness.estimators.entropy.health import adaptive_proportion_cutoff
from harness.estimators.entropy.iid import _repeat, repeat_chance
from harness.estimators.entropy.non_iid import non_iid
from harness.estimators.leakage.shuffles import several_attempts
from harness.estimators.paired import harm
from harness.estimators.proportion import clustered_rate
from harness.estimators.randomness.counts import block_frequency


def test_a_window_of_one_symbol_never_alarms() -> None:
    """Its first symbol is always in it: one more than the critical value is above the window."""
    assert adaptive_proportion_cutoff(1.0, window=1) == 2
    with pytest.raises(ValueError, match="`window` must be at least 1, got 0"):
        adaptive_proportion_cutoff(1.0, window=0)


def test_whose_symbols_they_are_is_kept_for_symbols_and_for_their_bits() -> None:
    found = non_iid(np.random.default_rng(0).integers(0, 4, 3100), attempts=5, subjects=3)
    assert {o.of for o in found.outcomes} == {"symbols", "bits"}
    for outcome in found.outcomes:
        assert outcome.estimate is not None
        assert (outcome.estimate.attempts, outcome.estimate.subjects) == (5, 3)


def test_a_positive_skewness_moves_the_limit_up_as_johnson_says() -> None:
    new = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 5.0, 1.0, 0.0])
    n, mean, spread = 8, new.mean(), new.std(ddof=1)
    skewness = ((new - mean) ** 3).mean() / spread**3
    quantile = t.ppf(0.95, n - 1)
    moved = quantile + skewness * (1 + 2 * quantile**2) / (6 * math.sqrt(n))
    found = harm(np.zeros(n), new, scale="difference")
    assert found.limit == pytest.approx(mean + spread / math.sqrt(n) * moved)
    other = harm(np.zeros(n), -new, scale="difference")  # a negative one moves nothing
    assert other.limit == pytest.approx(-mean + spread / math.sqrt(n) * quantile)


def test_the_design_effect_rests_on_whichever_hits_cluster_more() -> None:
    """Hits that cluster by person make the interval wider, be they the lower or the upper ones."""
    who = np.repeat(np.arange(12), 10)
    apart = np.tile([1.0, 0.0], 60)
    clustered = (who % 2 == 0).astype(float)
    for spread, together in ((0.3, 0.0), (0.0, 0.3)):  # which of the two clusters
        low = 0.2 + spread * clustered + together * apart
        high = 0.6 + together * clustered + spread * apart
        even = clustered_rate(0.2 + 0.3 * apart, 0.6 + 0.3 * apart, who, side="estimate", icc_floor=0.01)
        found = clustered_rate(low, high, who, side="estimate", icc_floor=0.01)
        assert found.value == pytest.approx(even.value)
        assert found.low < even.low - 0.02
        assert found.high > even.high + 0.02


def test_blocks_of_the_chosen_length_are_counted_and_must_fit() -> None:
    bits = np.tile([1, 1, 0, 1], 32)[None]  # 4 * 4 * 32 blocks * (3/4 - 1/2)**2 = 32
    assert block_frequency(bits, block=4)[0, 0] == pytest.approx(gammaincc(16, 16))
    with pytest.raises(ValueError, match="`block` must be a whole number, 2 or more, got 1"):
        block_frequency(bits, block=1)


def test_attempts_of_one_person_stay_together_and_in_order() -> None:
    subject = np.array([5, 3, 5, 9, 3, 5])
    assert several_attempts(subject).tolist() == [1, 4, 0, 2, 5]
    many = np.tile([1, 0], 200)  # more than a sort looks at one by one
    assert several_attempts(many).tolist() == [*range(1, 400, 2), *range(0, 400, 2)]


def test_the_ceiling_of_compression_is_that_of_the_expected_distances() -> None:
    """By plain sums over distances, for the standard's correction and its 2.576 spreads."""
    block, initial, bits = 2, 4, 60
    blocks = bits // block
    tested = blocks - initial

    def power_mean(z: float, power: int) -> float:
        total = 0.0
        for at in range(initial + 1, blocks + 1):
            total += sum(math.log2(d) ** power * z * z * (1 - z) ** (d - 1) for d in range(1, at))
            total += math.log2(at) ** power * z * (1 - z) ** (at - 1)  # never seen before
        return total / tested

    mean, square = (4 * power_mean(0.25, power) for power in (1, 2))
    spread = 0.5907 * math.sqrt(square * tested / (tested - 1) - mean**2)
    limit = mean - 2.576 * spread / math.sqrt(tested)
    likeliest = brentq(lambda p: power_mean(p, 1) + 3 * power_mean((1 - p) / 3, 1) - limit, 0.25, 0.999)
    found = compression_ceiling(bits, block=block, initial=initial)
    assert found == pytest.approx(-math.log2(likeliest) / block, abs=1e-9)
    assert compression_ceiling(2 * (initial + 2) - 1, block=2, initial=initial) is None
    assert compression_ceiling(2 * (initial + 2), block=2, initial=initial) is not None


def test_blocks_of_one_bit_and_of_sixteen_are_the_shortest_and_longest() -> None:
    bits = np.random.default_rng(1).integers(0, 2, 4000)
    assert 0.5 < compression(bits, block=1, initial=100).value <= 1
    assert 0 < compression(bits, block=16, initial=100).value <= 1
    for block in (0, 17):
        with pytest.raises(ValueError, match=f"`block` must be from 1 to 16 bits, got {block}"):
            compression(bits, block=block)


def test_a_repeat_is_reported_with_its_chance() -> None:
    symbols = np.random.default_rng(4).integers(0, 8, 1500)
    found, (length, chance) = _repeat(symbols), repeat_chance(symbols)
    assert (found.name, found.reason, found.degrees) == ("longest-repeat", None, None)
    assert (found.statistic, found.p_value) == (length, chance)
    assert found.rejected is False
    twice = _repeat(np.tile(symbols[:400], 3))
    assert twice.statistic == 800
    assert twice.rejected is True


def test_an_information_of_symbols_with_the_next_is_that_of_their_table() -> None:
    """A symbol that always changes tells one bit of two, whatever the order of shuffles."""
    turns = np.tile([0, 1], (4, 20)).astype(np.uint8)
    assert _information(turns, 2) == pytest.approx(1.0, abs=0.02)
    same = np.repeat([[0], [1], [0], [1]], 40, axis=1).astype(np.uint8)
    assert _information(same, 2) == pytest.approx(1.0)
    assert _information(np.zeros((3, 9), np.uint8), 2) == 0
