"""What every adversary with a sensor does: align, quantise as the owner does, decide softly."""

from __future__ import annotations

import numpy as np

from attacks.assisting import helped, read_with_help
from attacks.channels import MAKERS, NEIGHBOURS, assumed_table, learned_channel, normalised, part
from attacks.lags import best_lag
from attacks.learned_channels import narrowed
from attacks.quantising import quantised
from harness.contracts import Array, Belief, View, Witness
from harness.prior import symbol_prior

__all__ = ["learned_belief", "position_prior", "sensed_belief"]


def position_prior(view: View, symbols: int, alphabet: int) -> Array:
    """(symbols, alphabet) natural logs: how often other people have each symbol at each place."""
    known = view.population.witness if view.population is not None else None
    rows = np.zeros((0, symbols), np.uint8) if known is None else known.symbols[known.acquired]
    return symbol_prior(rows, alphabet)


def sensed_belief(view: View, role: str, *, rng: np.random.Generator) -> Belief:
    """Belief about A's witness from one role's captures.

    The scheme's own quantiser runs on the adversary's capture at the lag that served best on other
    people; how its output relates to A's symbols is learned from them too. With nobody to learn from, no
    lag and an assumed error rate are used. Where helper data help to read symbols, they are read with them.

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
        seen = quantised(scheme, capture)
        seen = read_with_help(scheme, seen, view.helper) or seen
        prior = position_prior(view, seen.symbols.shape[1], seen.alphabet)
        told = assumed_table(seen.alphabet)(seen)
        return Belief(log_prob=normalised(np.where(seen.acquired[:, None, None], told, prior)))
    theirs, true = learned.captures[role], learned.witness
    lag = best_lag(scheme, theirs, true)
    seen, known = quantised(scheme, capture, lag=lag), quantised(scheme, theirs, lag=lag)
    return learned_belief(view, seen, known, np.arange(len(true.acquired)), rng=rng)


def learned_belief(
    view: View, seen: Witness, known: Witness, members: Array, *, rng: np.random.Generator
) -> Belief:
    """Belief about A's witness from what was seen of it, as learned from what was seen of other people.

    Parameters
    ----------
    view : View
        With a population whose witnesses are known.
    seen : Witness
        The adversary's, row for row of the view.
    known : Witness
        The adversary's of other people.
    members : int, shape (rows,)
        Whose of the population's rows those of `known` are.
    rng : numpy.random.Generator
    """
    learned = view.population
    if learned is None or learned.witness is None:
        raise ValueError("`population` must hold other people's witnesses, got none")
    true, subject = part(learned.witness, members), learned.subject[members]
    prior = position_prior(view, seen.symbols.shape[1], seen.alphabet)
    log_prob = np.broadcast_to(prior, (view.attempts, *prior.shape)).copy()
    makers, help_given = MAKERS, helped(view, seen, known, members, neighbours=NEIGHBOURS)
    if help_given is not None:
        seen, known = help_given.seen, help_given.known
        plain = (narrowed(make, help_given.columns) for make in MAKERS)
        makers = (*plain, *help_given.makers)
    for acquired in (True, False):
        # a faint capture may fall short of the owner's threshold and yet tell: it is learned apart
        rows = np.flatnonzero((known.acquired == acquired) & true.acquired)
        mine = np.flatnonzero(seen.acquired == acquired)
        if len(rows) and len(mine):
            channel = learned_channel(
                part(known, rows), part(true, rows), subject[rows], rng=rng, makers=makers
            )
            log_prob[mine] = channel(part(seen, mine))
    return Belief(log_prob=normalised(log_prob))
