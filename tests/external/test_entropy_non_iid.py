"""The examples of NIST SP 800-90B (2018) section 6.3, with their intermediate figures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import gammaincc

from harness.contracts import Array, Estimate
from harness.estimators.entropy.collision import collision, collision_times, collision_times_limit
from harness.estimators.entropy.compression import compression, log_distance_limit, log_distances
from harness.estimators.entropy.counting import counting_hits, multi_markov
from harness.estimators.entropy.lag import lag, lag_hits
from harness.estimators.entropy.lz78y import lz78y, lz78y_hits
from harness.estimators.entropy.markov import likeliest_of_six, markov
from harness.estimators.entropy.most_common import most_common_value
from harness.estimators.entropy.predictions import global_limit, local_limit, longest_run
from harness.estimators.entropy.sequences import codes, upper_share
from harness.estimators.entropy.tuples import (
    longest_repeated_substring,
    repeated_pairs,
    t_tuple,
    tuple_counts,
)
from harness.estimators.entropy.window import multi_most_common_in_window, window_hits


def digits(text: str) -> Array:
    return np.array([int(d) for d in text])


COMMON = digits("01120122010110221021")
BITS = digits("1000111001010101110011000111001010101110")
MORE_BITS = np.r_[BITS, digits("11100011")]
TUPLES = digits("220102012120121001000")
WINDOW = digits("121021122000")
LAG = digits("2132131312")
COUNTING = digits("213213131")
DICTIONARY = digits("2132131312132")


def close(expected: float) -> object:
    """To the last of ten published digits."""
    return pytest.approx(expected, abs=1.5e-10)


def test_most_common_value() -> None:
    """§6.3.1: mode 8 of 20."""
    assert np.bincount(COMMON).max() == 8
    assert upper_share(8 / 20, 20) == close(0.6895174061)
    assert most_common_value(COMMON).value == close(0.5363411235)


def test_collision() -> None:
    """§6.3.2: v 14, mean 2.7142857, deviation .4688072, limit 2.3915284."""
    twos, threes = collision_times(BITS.astype(np.uint8))
    times = np.repeat([2, 3], [twos, threes])
    assert len(times) == 14
    assert times.mean() == pytest.approx(2.7142857, abs=5e-8)
    assert times.std(ddof=1) == pytest.approx(0.4688072, abs=5e-8)
    assert collision_times_limit(twos, threes) == pytest.approx(2.3915284, abs=5e-8)
    found = collision(BITS)
    assert 2**-found.value == close(0.7328858485)
    assert found.value == close(0.4483395878)


@pytest.mark.parametrize("p", [0.5001, 0.6, 0.7328858485, 0.95])
def test_the_expected_collision_time_in_short_is_that_of_the_standard(p: float) -> None:
    """§6.3.2 writes it with F(1/z) = Γ(3, z) z^-3 e^z; here it is 2 + 2 p (1 - p)."""
    q = 1 - p
    gamma = 2 * gammaincc(3, q**-1)  # Γ(3, z) with z = 1/q
    of_q = gamma * q**3 * np.exp(1 / q)
    longer = p * q**-2 * (1 + (1 / p - 1 / q) / 2) * of_q - p / q * (1 / p - 1 / q) / 2
    assert longer == pytest.approx(2 + 2 * p * q, rel=1e-12)


def test_markov() -> None:
    """§6.3.3: shares 7/18, 11/18, 4/7, 3/7; probability 4.912420e-30; .761 bits."""
    starts, stays = BITS[:-1], BITS[1:]
    step = np.array([[((starts == a) & (stays == b)).sum() for b in (0, 1)] for a in (0, 1)])
    step = step / step.sum(axis=1, keepdims=True)
    assert step.tolist() == [[7 / 18, 11 / 18], [4 / 7, 3 / 7]]
    path = likeliest_of_six(np.array([1 - BITS.mean(), BITS.mean()]), step)
    assert 2**path == pytest.approx(4.912420e-30, rel=5e-7)
    assert markov(BITS).value == pytest.approx(-path / 128, abs=1e-14)
    assert markov(BITS).value == pytest.approx(0.761, abs=1e-3)


def test_compression() -> None:
    """§6.3.4 with b 6 and d 4: distances 5, 6, 7, 7; mean 2.6304001, σ .9073769, limit 1.4616987."""
    logs = log_distances(MORE_BITS.astype(np.uint8), block=6, initial=4)
    assert (2**logs).tolist() == pytest.approx([5, 6, 7, 7])
    assert logs.mean() == pytest.approx(2.6304001, abs=5e-8)
    limit = log_distance_limit(logs)
    assert limit == pytest.approx(1.4616987, abs=5e-8)
    assert (logs.mean() - limit) * 2 / 2.576 == pytest.approx(0.9073769, abs=1e-7)
    found = compression(MORE_BITS, block=6, initial=4)
    assert 2 ** (-6 * found.value) == close(0.5714846827)
    assert found.value == close(0.1345355440)


def test_t_tuple() -> None:
    """§6.3.5 with a cutoff of 3: counts 9, 4, 3."""
    numbers, kinds = codes(TUPLES, least=1, needs="this test")
    assert tuple_counts(numbers, kinds, cutoff=3).tolist() == [9, 4, 3]
    found = t_tuple(TUPLES, cutoff=3)
    assert 2**-found.value == close(0.8275515109)
    assert found.value == close(0.2730789797)


def test_longest_repeated_substring() -> None:
    """§6.3.6 with a cutoff of 3: lengths 4 and 5, 2 of 153 pairs and 1 of 136."""
    numbers, kinds = codes(TUPLES, least=1, needs="this test")
    shortest, pairs = repeated_pairs(numbers, kinds, cutoff=3)
    assert (shortest, pairs.tolist()) == (4, [2, 1])
    found = longest_repeated_substring(TUPLES, cutoff=3)
    assert 2**-found.value == close(0.6531274902)
    assert found.value == close(0.6145634623)


def predicted(symbols: Array) -> Array:
    return codes(symbols, least=1, needs="this test")[0]


@pytest.mark.parametrize(
    ("right", "came", "run", "local", "found", "probability", "entropy"),
    [
        pytest.param(
            window_hits(predicted(WINDOW), windows=(3, 5, 7, 9)),
            "000101001", 2, 0.0359676,
            multi_most_common_in_window(WINDOW, windows=(3, 5, 7, 9)), 0.7626666667, 0.3908754486,
            id="6.3.7",
        ),
        pytest.param(
            lag_hits(predicted(LAG), lags=3),
            "000110000", 3, 0.1167007,
            lag(LAG, lags=3), 0.6008586321, 0.7349024963,
            id="6.3.8",
        ),
        pytest.param(
            counting_hits(predicted(COUNTING), depth=3),
            "0011010", 3, 0.1307371,
            multi_markov(COUNTING, depth=3), 0.9490020195, 0.0755169375,
            id="6.3.9",
        ),
        pytest.param(
            lz78y_hits(predicted(DICTIONARY), longest=4),
            "00110110", 3, 0.1229487,
            lz78y(DICTIONARY, longest=4), 0.9868182412, 0.0191437109,
            id="6.3.10",
        ),
    ],
)  # fmt: skip
def test_predictors(
    right: Array, came: str, run: int, local: float, found: Estimate, probability: float, entropy: float
) -> None:
    """§6.3.7 to 6.3.10: which predictions are right, run r, P_local, the probability and the entropy."""
    n = len(came)
    assert "".join(str(int(r)) for r in right) == came
    assert longest_run(right) + 1 == run
    assert local_limit(run - 1, n) == pytest.approx(local, abs=5e-8)
    assert global_limit(int(right.sum()), n) == close(probability)
    assert found.value == close(entropy)
