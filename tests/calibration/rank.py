"""Brackets of key ranks and of the odds that follow: they are bounds, so they hold in every draw."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from math import comb

import numpy as np
from committed_keys import LABELS, committed

from calibration.case import Case
from harness.contracts import Array
from harness.decoding import secret_ranks
from harness.ranking import Ranks, on_grid, product_ranks
from schemes.codes import golay23
from schemes.commitment import consecutive_bits

__all__ = ["CASES"]

BUDGETS = (1, 2, 10, 100, 1000, 10_000)
REMARK = "a bound, not an interval: it may never miss"


def holds(ranks: Ranks, fewer: int, upto: int) -> bool:
    """One key's bracket, and the odds within several budgets, ties shared."""
    bracket = (
        ranks.fewer_low[0] <= fewer <= ranks.fewer_high[0]
        and ranks.upto_low[0] <= upto <= ranks.upto_high[0]
    )
    for budget in BUDGETS:
        exact = min(max((budget - fewer) / (upto - fewer), 0.0), 1.0)
        low, high = ranks.success(budget, offline=False)
        bracket &= bool(low[0] <= exact + 1e-12 and exact <= high[0] + 1e-12)
    return bracket


def counted(costs: list[Array], true: Array) -> tuple[int, int]:
    """Keys below the true one, and up to it: two halves listed, one of them sorted."""
    half = len(costs) // 2
    sums = []
    for part in (costs[:half], costs[half:]):
        total = np.zeros(1)
        for cost in part:
            total = np.add.outer(total, cost[0]).ravel()
        sums.append(total)
    own = sum(float(cost[0, t]) for cost, t in zip(costs, true[0], strict=True))
    left, right = own - sums[0], np.sort(sums[1])
    fewer, upto = (int(np.searchsorted(right, left, side=side).sum()) for side in ("left", "right"))
    return fewer, upto


def told(costs: list[Array], true: Array) -> bool:
    return holds(product_ranks(costs, true), *counted(costs, true))


def drawn(probability: Array, rng: np.random.Generator) -> tuple[list[Array], Array]:
    """Costs of a belief (symbols, alphabet), and a key as it says."""
    true = (probability.cumsum(axis=1) < rng.random((len(probability), 1))).sum(axis=1)
    true = np.minimum(true, probability.shape[1] - 1)
    return [-on_grid(np.log(p))[None] for p in probability], true[None]


def symmetric(rng: np.random.Generator, *, error: float) -> bool:
    """128 bits seen with errors, against binomial sums in whole numbers."""
    wrong = rng.random((1, 128)) < error
    cost = -on_grid(np.log(np.array([[1 - error, error]])))
    w = int(wrong.sum())
    fewer = sum(comb(128, i) for i in range(w))
    return holds(product_ranks([cost] * 128, wrong.astype(np.intp)), fewer, fewer + comb(128, w))


def gaussian(rng: np.random.Generator, *, sigma: float) -> bool:
    """20 bits through additive noise."""
    sent = rng.integers(0, 2, 20)
    odds = 2 * (2.0 * sent - 1 + rng.normal(0, sigma, 20)) / sigma**2
    costs = [-on_grid(-np.logaddexp(0, np.array([[x, -x]]))) for x in odds]
    return told(costs, sent[None])


def markov(rng: np.random.Generator, *, stays: float) -> bool:
    """20 bits of a chain seen with errors: what each of them is by all that was seen."""
    chain = np.where(np.eye(2) == 1, stays, 1 - stays)
    sent = np.cumsum(rng.random(20) >= stays) % 2
    seen = sent ^ (rng.random(20) < 0.2)
    shown = np.where(np.arange(2) == seen[:, None], 0.8, 0.2)
    ahead, behind = np.ones((20, 2)), np.ones((20, 2))
    for i in range(20):
        ahead[i] = shown[i] * (ahead[i - 1] @ chain if i else 0.5)
        ahead[i] /= ahead[i].sum()
    for i in reversed(range(19)):
        behind[i] = chain @ (shown[i + 1] * behind[i + 1])
        behind[i] /= behind[i].sum()
    belief = ahead * behind
    costs = [-on_grid(np.log(b / b.sum()))[None] for b in belief]
    return told(costs, sent[None])


def ternary(rng: np.random.Generator, *, spread: float) -> bool:
    """13 symbols of three values, blocks merged."""
    return told(*drawn(rng.dirichlet(np.full(3, spread), 13) * (1 - 3e-9) + 1e-9, rng))


def golay(rng: np.random.Generator, *, soft: bool) -> bool:
    """Two blocks with helper data: every pair of words."""
    code = golay23()
    seed, positions = int(rng.integers(2**32)), consecutive_bits(2, 23)
    symbols, linear, _ = committed(seed, code, LABELS["bits"], positions, rows=1)
    if soft:
        odds = 2 * (2.0 * symbols - 1 + rng.normal(0, 1, symbols.shape))
    else:
        odds = np.where(symbols ^ (rng.random(symbols.shape) < 0.25), 1, -1) * np.log(3.0)
    log_prob = -np.logaddexp(0, np.stack([odds, -odds], axis=2))
    ranks = secret_ranks(log_prob, LABELS["bits"], linear, symbols)
    table = on_grid(log_prob)[0]  # (46, 2)
    words = code.encode(((np.arange(4096)[:, None] >> np.arange(12)) & 1).astype(np.uint8))
    costs = []
    for block in range(2):
        # the words that fit are the true one plus every word of the code
        fit = words ^ symbols[:, 23 * block : 23 * block + 23]
        costs.append(-table[np.arange(23 * block, 23 * block + 23), fit].sum(axis=1)[None])
    return holds(ranks, *counted(costs, np.zeros((1, 2), int)))


def _case(name: str, channel: str, run: Callable[[np.random.Generator], bool]) -> Case:
    return Case(name=name, channel=channel, kind="coverage", nominal=1.0, run=run, remark=REMARK)


CASES = [
    *(
        _case("key rank, bits", f"binary symmetric, {e:g}, 128 bits", partial(symmetric, error=e))
        for e in (0.05, 0.2, 0.4)
    ),
    *(
        _case("key rank, bits", f"Gaussian, sigma {s:g}, 20 bits", partial(gaussian, sigma=s))
        for s in (0.5, 1.0, 2.0)
    ),
    *(
        _case("key rank, bits", f"Markov, stays {s:g}, 20 bits", partial(markov, stays=s))
        for s in (0.7, 0.95)
    ),
    *(
        _case("key rank, blocks", f"13 ternary symbols, spread {s:g}", partial(ternary, spread=s))
        for s in (0.3, 3.0)
    ),
    _case("key rank, helper data", "two Golay blocks, Gaussian, sigma 1", partial(golay, soft=True)),
    _case("key rank, helper data", "two Golay blocks, binary symmetric, .25", partial(golay, soft=False)),
]
