"""What published help about A's features tells by itself, where they are not distributed as assumed."""

from __future__ import annotations

import numpy as np

from attacks.assisting import helped
from attacks.channels import learned_channel, part, symbol_table
from harness.contracts import Array, View, Witness

__all__ = ["told_by_help", "unseen"]


def told_by_help(view: View, *, rng: np.random.Generator) -> Array | None:
    """Natural logs of how much likelier help makes each value of a symbol, as learned from other people.

    Nobody's features are sensed: all are taken to be what other people's are at their place on average.
    Help about features that are distributed as the scheme assumes tells nothing, and about others it does.

    Parameters
    ----------
    view : View
        With helper data, and a population whose witnesses are known.
    rng : numpy.random.Generator

    Returns
    -------
    (attempts, m, alphabet) float, or None
        To be added to what is believed without; None where a scheme has no such help, or A's features
        are not known.
    """
    learned = view.population
    true = learned.witness if learned else None
    if learned is None or true is None or true.features is None or not true.acquired.any():
        return None
    usable = np.flatnonzero(true.acquired)
    usual = true.features[usable].mean(axis=0)
    seen, known = (unseen(usual, true.alphabet, rows) for rows in (view.attempts, len(usable)))
    given = helped(view, seen, known, usable, neighbours=0)
    if given is None:
        return None
    some = part(true, usable)
    makers = (lambda s, t, _: symbol_table(s, t), *given.makers)
    channel = learned_channel(given.known, some, learned.subject[usable], rng=rng, makers=makers)
    counts = np.bincount(some.symbols.ravel(), minlength=true.alphabet) + 1.0
    return np.asarray(channel(given.seen) - np.log(counts / counts.sum()))


def unseen(features: Array, alphabet: int, rows: int) -> Witness:
    """A witness of nobody, whose features are the same in every attempt."""
    m = len(features)
    return Witness(
        symbols=np.zeros((rows, m), np.uint8),
        alphabet=alphabet,
        acquired=np.ones(rows, bool),
        features=np.broadcast_to(features, (rows, *features.shape)).copy(),
    )
