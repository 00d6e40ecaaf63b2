"""Arithmetic of common practice and of published tables, end to end through the harness.

The figures of the three-symbol configuration and of the six-digit secret are common practice, without a
source; the tool reproduces them and shows where they mislead.
"""

from __future__ import annotations

from math import comb, log2

import numpy as np
import pytest
from scipy.stats import binom

from harness.contracts import Array
from harness.decoding import secret_ranks
from harness.estimators.entropy.given_helper import average_min_entropy, pattern_slots
from harness.ranking import on_grid, product_ranks
from schemes.codes import golay23
from schemes.commitment import consecutive_bits
from schemes.sketches import CodeOffset

TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
BITS = np.array([[0], [1]], np.uint8)


def channel_belief(seen: Array, error: float) -> Array:
    return np.log(np.where(np.arange(2) == seen[..., None], 1 - error, error))


def test_agreement_on_a_six_digit_secret() -> None:
    """20 bits at .892 % mismatch agree at (1 - .00892)**20 = 83.6 %."""
    expected = (1 - 0.00892) ** 20
    assert expected == pytest.approx(0.836, abs=5e-4)
    rng = np.random.default_rng(1)
    agreed = int((rng.random((20_000, 20)) >= 0.00892).all(axis=1).sum())
    assert binom.ppf(0.005, 20_000, expected) <= agreed <= binom.ppf(0.995, 20_000, expected)


def test_guessing_twenty_bits_at_a_mismatch_of_29_8_percent() -> None:
    """The usual figure, .702**20 = .0845 %, is that of one guess without helper data."""
    expected = 0.702**20
    assert 100 * expected == pytest.approx(0.0845, abs=5e-5)
    belief = channel_belief(np.zeros((1, 20), np.uint8), 0.298)
    ranks = product_ranks([-on_grid(belief[:, i]) for i in range(20)], np.zeros((1, 20), np.intp))
    assert ranks.fewer_high[0] == 0
    assert 2 ** -ranks.surprise[0] == pytest.approx(expected, rel=1e-5)
    # with a budget the odds are a tail of the binomial: 1 + 20 guesses cover one wrong bit
    one_wrong = np.eye(1, 20, dtype=np.intp)
    reached = product_ranks([-on_grid(belief[:, i]) for i in range(20)], one_wrong)
    assert reached.success(21, offline=False)[1][0] == 1
    assert reached.success(1, offline=False)[1][0] == 0


def test_helper_data_and_decoder_change_the_guess() -> None:
    """At 29.8 % an attacker has P(Bin(23, .298) <= 3) = 5.6 % of a block, not .702**23 = .03 %."""
    q, blocks = 0.298, 4000
    with_decoder = binom.cdf(3, 23, q)
    assert with_decoder == pytest.approx(
        sum(comb(23, w) * q**w * (1 - q) ** (23 - w) for w in range(4)), rel=1e-12
    )
    assert with_decoder > 100 * 0.702**23
    rng = np.random.default_rng(2)
    bits = rng.integers(0, 2, (blocks, 23), dtype=np.uint8)
    sketch = CodeOffset(code=golay23())
    helper = sketch.commit(bits[:, None], rng=rng)[1]
    linear = sketch.linear(helper, consecutive_bits(1, 23))
    seen = bits ^ (rng.random(bits.shape) < q)
    ranks = secret_ranks(channel_belief(seen, q), BITS, linear, bits)
    hits = ranks.success(1, offline=False)[0].sum()
    assert binom.ppf(0.005, blocks, with_decoder) <= hits <= binom.ppf(0.995, blocks, with_decoder)
    # the usual figure would not do: it fails the same check
    assert not binom.ppf(0.005, blocks, 0.702**23) <= hits <= binom.ppf(0.995, blocks, 0.702**23)


@pytest.mark.parametrize(("error", "capacity"), [(0.1, 0.531004406411), (0.25, 0.188721875541)])
def test_posterior_of_long_keys_is_that_of_the_channel(error: float, capacity: float) -> None:
    """Mean surprise of 128 bits is 128 h: 4 standard errors of 500 keys."""
    rng = np.random.default_rng(3)
    true = rng.integers(0, 2, (500, 128))
    belief = channel_belief(true ^ (rng.random(true.shape) < error), error)
    ranks = product_ranks([-on_grid(belief[:, i]) for i in range(128)], true)
    sigma = np.sqrt(128 * error * (1 - error) / 500) * log2((1 - error) / error)
    assert abs(ranks.surprise.mean() - 128 * (1 - capacity)) < 4 * sigma


def test_budgets_of_published_policies() -> None:
    """NIST SP 800-63B rev. 3 section 5: 100 guesses at 6 digits 1e-4, at 20 bits 9.5367e-5."""
    digits = product_ranks([np.zeros((1, 10))] * 6, np.zeros((1, 6), np.intp))
    assert digits.success(100, offline=False)[0][0] == pytest.approx(1e-4, rel=1e-9)
    assert digits.surprise[0] == pytest.approx(19.931569, abs=5e-7)
    bits = product_ranks([np.zeros((1, 2))] * 20, np.zeros((1, 20), np.intp))
    assert bits.success(100, offline=False)[0][0] == pytest.approx(9.5367e-5, rel=1e-5)


def test_guesswork_by_rank_of_a_geometric_key() -> None:
    """Arikan's example p = (1/2, 1/4, 1/8, 1/16, 1/16): E[G] = 1.9375, bounds 1.627293 and 4.246320."""
    p = np.array([1 / 2, 1 / 4, 1 / 8, 1 / 16, 1 / 16])
    cost = np.tile(-on_grid(np.log(p)), (5, 1))
    ranks = product_ranks([cost], np.arange(5)[:, None])
    mean = float((p * 2 ** ranks.log2_rank(8)[0]).sum())
    assert mean == pytest.approx(1.9375)
    upper = float(np.sqrt(p).sum() ** 2)
    assert upper == pytest.approx(4.246320, abs=5e-7)
    assert upper / (1 + np.log(5)) == pytest.approx(1.627293, abs=5e-7)
    assert upper / (1 + np.log(5)) <= mean <= upper


def test_three_symbols_in_two_bits_are_not_uniform_bits() -> None:
    """A whole block: 22 bits - 11 parities are charged, 6.43 are left; log2 3 = 1.585 a symbol."""
    positions = np.r_[np.arange(22), -1]
    slots = pattern_slots(positions, TERNARY, np.full((11, 3), 1 / 3))
    left = average_min_entropy(golay23().parity, slots)
    assert left == pytest.approx(6.43, abs=5e-3)
    assert 11 * 1.584962500721 - 11 <= left < 22 - 11


def test_a_straddling_half_symbol_is_charged_as_its_own_bit() -> None:
    """23 bits of uniform ternary symbols, 11 1/2 of them: 7.02 bits."""
    slots = pattern_slots(np.arange(23), TERNARY, np.full((12, 3), 1 / 3))
    assert average_min_entropy(golay23().parity, slots) == pytest.approx(7.02, abs=5e-3)
