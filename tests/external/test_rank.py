"""Key rank and ordered statistics against closed forms: binomial sums and bounded-distance decoding."""

from __future__ import annotations

from functools import lru_cache
from math import comb, log2

import numpy as np
import pytest
from committed_keys import LABELS, committed
from scipy.stats import binom, norm

from harness.contracts import Array, Linear
from harness.ordered_statistics import after_own_decoder, ordered_statistics
from harness.ranking import Ranks, on_grid, product_ranks
from schemes.codes import bch
from schemes.commitment import consecutive_bits

BITS, ERROR = 128, 0.2
WORDS = 4000
LEVEL = 1 - 0.01 / 12  # one chance in a hundred that any of the twelve regions below misses by chance


@lru_cache(maxsize=1)
def by_weight() -> Ranks:
    """Ranks on a binary symmetric channel of keys with 0, 1, ..., 128 wrong bits."""
    told = np.log(np.array([1 - ERROR, ERROR]))
    wrong = np.tri(BITS + 1, BITS, -1, dtype=np.intp)
    return product_ranks([np.tile(-on_grid(told), (BITS + 1, 1))] * BITS, wrong)


def test_ranks_on_a_symmetric_channel_are_sums_of_binomial_numbers() -> None:
    ranks = by_weight()
    for w in range(BITS + 1):
        fewer = sum(comb(BITS, i) for i in range(w))
        assert ranks.fewer_low[w] <= fewer <= ranks.fewer_high[w]
        assert ranks.upto_low[w] <= fewer + comb(BITS, w) <= ranks.upto_high[w]
    assert ranks.fewer_high == pytest.approx(ranks.fewer_low, rel=1e-10)
    assert ranks.upto_high == pytest.approx(ranks.upto_low, rel=1e-10)


@pytest.mark.parametrize(("odds", "log2_guesses"), [(0.01, 64.1), (0.5, 88.1)])
def test_guesses_for_given_odds_on_a_symmetric_channel(odds: float, log2_guesses: float) -> None:
    """From the binomial law alone; neither entropy says it: H = 92.4 bits, min-entropy 41.2."""
    chance = binom.pmf(np.arange(BITS + 1), BITS, ERROR)

    def guesses(end: int) -> float:
        """Bisected, in steps of 1/1000 bit, on one end of the bracket of the odds."""
        low, high = 0, 128_000
        while high - low > 1:
            middle = (low + high) // 2
            reached = float(chance @ by_weight().success(int(2 ** (middle / 1000)), offline=False)[end])
            low, high = (low, middle) if reached >= odds else (middle, high)
        return high / 1000

    least, most = guesses(1), guesses(0)
    assert least <= most <= least + 0.001  # equal costs are counted exactly
    assert least - 0.05 <= log2_guesses <= most + 0.05
    # exactly, in whole numbers of guesses
    before, total = 0.0, 0
    for w in range(BITS + 1):
        if before + chance[w] >= odds:
            exact = log2(total + comb(BITS, w) * (odds - before) / chance[w])
            break
        before, total = before + chance[w], total + comb(BITS, w)
    assert exact == pytest.approx(log2_guesses, abs=0.05)
    assert least - 0.001 <= exact <= most + 0.001


def test_entropies_of_the_same_channel() -> None:
    h = -ERROR * log2(ERROR) - (1 - ERROR) * log2(1 - ERROR)
    assert BITS * h == pytest.approx(92.4, abs=0.05)
    likeliest = 2.0 ** -by_weight().surprise[0]
    assert -log2(likeliest) == pytest.approx(41.2, abs=0.05)


def channel(symbols: Array, error: float, *, soft: bool) -> tuple[Array, Array]:
    """Belief and signs seen through a symmetric or a Gaussian channel with that share of wrong signs."""
    rng = np.random.default_rng(2)
    if not soft:
        seen = symbols ^ (rng.random(symbols.shape) < error)
        return np.log(np.where(np.arange(2) == seen[..., None], 1 - error, error)), seen
    sigma = 1 / norm.ppf(1 - error)
    z = 2.0 * symbols - 1 + rng.normal(0, sigma, symbols.shape)
    odds = 2 * z / sigma**2
    return -np.logaddexp(0, np.stack([odds, -odds], axis=2)), (z > 0).astype(np.uint8)


@lru_cache(maxsize=1)
def keys() -> tuple[Array, Linear, Array]:
    return committed(1, bch(127, 64), LABELS["bits"], consecutive_bits(1, 127), rows=WORDS)


def first_guess(error: float, *, soft: bool, decoder: bool) -> float:
    """How many of the keys are found at the first guess."""
    symbols, linear, _ = keys()
    belief, seen = channel(symbols, error, soft=soft)
    ranks = ordered_statistics(belief, LABELS["bits"], linear, symbols)
    if decoder:
        message, accepted = bch(127, 64).decode(seen ^ symbols)  # zero where it decodes to the truth
        ranks = after_own_decoder(ranks, accepted, ~message.any(axis=1))
    low, high = ranks.success(1, offline=False)
    assert np.array_equal(low, high)  # of one block the list is ranked exactly
    return float(low.sum())


@pytest.mark.parametrize(
    ("error", "published", "naive"), [(0.05, 0.946, -9.4), (0.1, 0.265, -19.3), (0.15, 0.0120, -29.8)]
)
def test_an_attacker_on_a_large_code_gets_at_least_what_its_decoder_does(
    error: float, published: float, naive: float
) -> None:
    """BCH [127, 64] corrects ten errors: P(Bin(127, q) <= 10). Without the decoder: all 127 bits right.

    Ordered statistics reach it with soft decisions. Hard decisions have no reliability to go by: there
    the attack owes it to the scheme's own decoder, and falls far short alone.
    """
    assert 127 * log2(1 - error) == pytest.approx(naive, abs=0.05)
    truth = float(binom.cdf(10, 127, error))
    assert truth == pytest.approx(published, rel=5e-3)
    least = binom.ppf((1 - LEVEL) / 2, WORDS, truth)
    hard, given = (first_guess(error, soft=False, decoder=d) for d in (False, True))
    soft, both = (first_guess(error, soft=True, decoder=d) for d in (False, True))
    assert given >= least
    assert soft >= least
    assert both >= soft
    assert soft > given > hard
    assert hard < 0.5 * least
    # errors in the basis: at most two of 64 positions wrong, and then nearly always the best of the list
    assert hard <= binom.ppf((1 + LEVEL) / 2, WORDS, binom.cdf(2, 64, error))
