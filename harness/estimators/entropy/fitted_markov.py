"""What is left of the whole key given helper data, if symbols depend each on the one before it."""

from __future__ import annotations

import numpy as np
from scipy.stats import t

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.bounded_mean import bounded_mean
from harness.estimators.entropy.joint_trellis import best_tables, sections
from harness.estimators.entropy.sampled_min_entropy import draw_syndromes, likeliest
from harness.estimators.entropy.symbol_chains import SymbolChain, chain_of_counts, step_counts

__all__ = ["markov_min_entropy", "most_predictable"]

_GROUPS = 10


def markov_min_entropy(
    symbols: Array,
    subject: Array,
    *,
    labels: Array,
    parity: Array,
    positions: Array,
    limit: float,
    rng: np.random.Generator,
    draws: int = 100,
    smoothing: float = 0.5,
    level: float = 0.95,
) -> tuple[Estimate, float]:
    """Average min-entropy of the key given helper data, under a Markov source fitted to these people.

    The source modelled: the same order-1 chain at every position and in everyone, see `fitted_chain`.
    Habits of single people and dependence that reaches further lower the truth. All blocks are judged
    jointly. A chain fitted to few symbols looks more predictable than it is, so the figure says too little
    rather than too much.

    Parameters
    ----------
    symbols : (attempts, m) int
    subject : (attempts,) int
    labels, parity, positions
        As in `harness.contracts.Linear`; `positions` is (blocks, n).
    limit : float
        Bits of the key: nothing can hold more.
    rng : numpy.random.Generator
        For the syndromes drawn; with one block none is.
    draws : int
    smoothing : float
        Of the counts of transitions, see `fitted_chain`.
    level : float
        Two-sided. A delete-one-group jackknife over people (at most ten groups, the same syndromes
        throughout), moved outward by the interval of the draws at the same level, and the upper end besides
        by twice the jackknife's estimate of how much too little the figure says: where several words are
        the likeliest, that falls with the root of the number of people, and the jackknife sees half of it.

    Returns
    -------
    estimate : Estimate
        Unit "bit", side "estimate", evidence "modelled". One person says nothing about others: the interval
        is open (NaN).
    from_draws : float
        Bits by which the draws alone may have it wrong at this level, the larger side.

    Raises
    ------
    ValueError
        As `fitted_chain` and `sections`.
    InsufficientData
        If there is no attempt, or as `sections` and `best_words`.
    """
    if len(symbols) == 0:
        raise InsufficientData("a source must be fitted to at least one attempt, got none")
    people = np.unique(subject)
    groups = min(_GROUPS, len(people))
    index = np.searchsorted(people, subject) % groups
    counts = [step_counts(symbols[index == g], alphabet=len(labels)) for g in range(groups)]
    singles, pairs = (np.sum(c, axis=0) for c in zip(*counts, strict=True))

    def tables_of(singles: Array, pairs: Array) -> tuple[list[Array], float]:
        chain: SymbolChain = chain_of_counts(singles, pairs, symbols=symbols.shape[1], smoothing=smoothing)
        return best_tables(sections(parity, positions, labels, chain))

    tables, log2_scale = tables_of(singles, pairs)
    sample = draw_syndromes(tables, rng=rng, draws=draws)

    def bits(share: float) -> float:
        return -float(np.log2(share)) - sample.log2_ceiling - log2_scale

    value = bits(float(sample.share.mean()))
    least, most = value, value
    if len(tables) > 1:
        low, high = bounded_mean(sample.share, level=level)
        least, most = bits(high), bits(low) if low > 0 else np.inf
    half, bias = float("nan"), 0.0
    if groups > 1:
        left_out = []
        for own_singles, own_pairs in counts:
            others, scale = tables_of(singles - own_singles, pairs - own_pairs)
            moved = likeliest(others, sample.picks) - sample.last + scale - log2_scale
            left_out.append(bits(float((sample.share * 2.0**moved).mean())))
        spread = np.sqrt((groups - 1) * np.var(left_out))
        bias = 2 * (groups - 1) * max(0.0, value - float(np.mean(left_out)))
        half = float(t.ppf((1 + level) / 2, groups - 1) * spread)
    from_draws = max(value - least, most - value)
    value = float(np.clip(value, 0.0, limit))
    estimate = Estimate(
        value=value,
        low=float(np.clip(least - half, 0.0, value)),
        high=float(np.clip(most + half + bias, value, limit)),
        level=level,
        unit="bit",
        side="estimate",
        evidence="modelled",
        subjects=len(people),
        attempts=len(symbols),
        method="average-given-helper-markov",
    )
    return estimate, from_draws


def most_predictable(symbols: Array, subject: Array, *, alphabet: int, smoothing: float = 0.5) -> int:
    """The subject whose next symbol is guessed best by someone who knows the one before.

    Parameters
    ----------
    symbols : (attempts, m) int
    subject : (attempts,) int
    alphabet : int
    smoothing : float
        As `fitted_chain`.
    """
    people = np.unique(subject)
    odds = []
    for person in people:
        singles, pairs = step_counts(symbols[subject == person], alphabet=alphabet)
        chain = chain_of_counts(singles, pairs, symbols=2, smoothing=smoothing)
        odds.append(float(chain.start @ chain.steps[0].max(axis=1)))
    return int(people[int(np.argmax(odds))])
