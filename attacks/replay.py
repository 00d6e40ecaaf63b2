"""Earlier recordings of the victim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.channels import part
from attacks.choosing import best_witness
from attacks.lags import best_lag
from attacks.potential import PROPOSED
from attacks.quantising import quantised
from attacks.sensing import learned_belief, sensed_belief
from harness.contracts import DEVICE_A, Array, Belief, Exchange, View, Witness

__all__ = ["Replay", "past_mean"]

ROLE = "earlier"


@dataclass(frozen=True, slots=True)
class Replay:
    """The victim's last recording in place of today's: full success against a scheme without freshness.

    A view that holds past sessions as well has the mean of all of their recordings beside it, if that
    told more of other people. A patchwork would tell less: of five recordings of simulated riders the
    mean told .014 bit a symbol to hard decisions, the best recording of each window or block (the one
    nearest to the mean) .012 and .004, any one of them .004. Past helper data tell nothing that past
    recordings do not.
    """

    name: str = "replay"
    sees: frozenset[str] = frozenset({ROLE})
    likes: frozenset[str] = frozenset({"helper", "population", "history"})
    potential = PROPOSED["replay"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        learned, past = view.population, view.history
        if learned is None or learned.witness is None or past is None or ROLE not in learned.captures:
            return sensed_belief(view, ROLE, rng=rng)
        return _remembering(view, learned, past, learned.witness, rng)


def _remembering(
    view: View, learned: Exchange, past: Exchange, true: Witness, rng: np.random.Generator
) -> Belief:
    """The last recording, or that and the mean of all: as told more of other people."""
    theirs = learned.captures[ROLE]
    lag = best_lag(view.scheme, theirs, true)
    seen, known = (quantised(view.scheme, c, lag=lag) for c in (view.captures[ROLE], theirs))
    own, others = (quantised(view.scheme, e.captures[DEVICE_A], lag=lag) for e in (past, learned))
    # so many sessions as all victims have; of others as many, so that their means are as good
    count = min(len(np.unique(past.session[past.subject == s])) for s in np.unique(view.subject))
    everyone = np.arange(len(true.acquired))
    if count:
        mine = past_mean(own, past, view.subject, view.session, sessions=count)
        told = past_mean(others, learned, learned.subject, learned.session, sessions=count)
        members = np.flatnonzero(np.isfinite(told).all(axis=(1, 2)))
        ways = [part(known, members), _beside(part(known, members), told[members])]
        subject = learned.subject[members]
        if np.isfinite(mine).all() and best_witness(ways, part(true, members), subject, rng=rng):
            return learned_belief(view, _beside(seen, mine), ways[1], members, rng=rng)
    return learned_belief(view, seen, known, everyone, rng=rng)


def past_mean(recorded: Witness, runs: Exchange, subject: Array, session: Array, *, sessions: int) -> Array:
    """Mean features of each person's last sessions before a session.

    Parameters
    ----------
    recorded : Witness
        Of the recordings, row for row of `runs`.
    runs : Exchange
    subject, session : int, shape (rows,)
        Whose past, and before which session.
    sessions : int
        How many sessions go into the mean.

    Returns
    -------
    float, shape (rows, m, f)
        NaN for who had fewer sessions before.
    """
    features = recorded.features
    if features is None:
        features = np.eye(recorded.alphabet)[recorded.symbols]
    out = np.full((len(subject), *features.shape[1:]), np.nan)
    for person, when in np.unique(np.stack([subject, session], axis=1), axis=0):
        before = (runs.subject == person) & (runs.session < when)
        last = np.unique(runs.session[before])[-sessions:]
        if len(last) == sessions:
            rows = before & np.isin(runs.session, last)
            out[(subject == person) & (session == when)] = features[rows].mean(axis=0)
    return out


def _beside(witness: Witness, mean: Array) -> Witness:
    """A witness with the mean of the past among its features."""
    features = witness.features
    if features is None:
        features = np.eye(witness.alphabet)[witness.symbols]
    return Witness(
        symbols=witness.symbols,
        alphabet=witness.alphabet,
        acquired=witness.acquired,
        features=np.concatenate([features, mean], axis=2),
    )
