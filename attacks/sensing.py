"""What every adversary with a sensor does: align, quantise as the owner does, decide softly."""

from __future__ import annotations

import numpy as np

from attacks.channels import assumed_table, learned_channel, normalised
from attacks.lags import best_lag, shifted
from harness.contracts import Array, Belief, View, Witness

__all__ = ["position_prior", "sensed_belief"]


def position_prior(view: View, symbols: int, alphabet: int) -> Array:
    """(symbols, alphabet) natural logs: how often other people have each symbol at each place."""
    counts = np.full((symbols, alphabet), 1.0)
    if view.population is not None and view.population.witness is not None:
        known = view.population.witness
        for value in range(alphabet):
            counts[:, value] += (known.symbols[known.acquired] == value).sum(axis=0)
    return np.asarray(np.log(counts / counts.sum(axis=1, keepdims=True)))


def sensed_belief(view: View, role: str, *, rng: np.random.Generator) -> Belief:
    """Belief about A's witness from one role's captures.

    The scheme's own quantiser runs on the adversary's capture at the lag that served best on other
    people; how its output relates to A's symbols is learned from them too. With nobody to learn from, no
    lag and an assumed error rate are used. An attempt that the adversary's sensor did not acquire gets
    the prior.

    Parameters
    ----------
    view : View
    role : str
        Whose captures.
    rng : numpy.random.Generator
    """
    scheme, capture = view.scheme, view.captures[role]
    learned = view.population
    if learned is None or learned.witness is None or role not in learned.captures:
        seen: Witness = scheme.witness(capture)
        channel = assumed_table(seen.alphabet)
    else:
        theirs, true = learned.captures[role], learned.witness
        lag = best_lag(scheme.witness, theirs, true)
        channel = learned_channel([scheme.witness(shifted(theirs, lag))], true, learned.subject, rng=rng)
        seen = scheme.witness(shifted(capture, lag))
    prior = position_prior(view, seen.symbols.shape[1], seen.alphabet)
    told = channel(seen)
    return Belief(log_prob=normalised(np.where(seen.acquired[:, None, None], told, prior)))
