"""What people repeat from one session to the next."""

from __future__ import annotations

import numpy as np
from scipy.stats import poisson

from attacks.channels import normalised
from harness.contracts import Array, Belief, Exchange, View

__all__ = ["habit_belief", "habits_of", "own_keys_recur", "past_rows"]

STRENGTHS = (0.0, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0)
"""What one past symbol of a person may count, against one of everybody's."""
_CHANCE = 0.001


def past_rows(past: Exchange, person: int, session: int) -> Array:
    """Rows of a person's sessions before this one."""
    return np.flatnonzero((past.subject == person) & (past.session < session))


def own_keys_recur(known: Exchange) -> bool:
    """Whether keys of other people come again in later sessions of theirs more often than chance allows."""
    if known.keys is None:
        return False
    pairs = hits = 0
    for person in np.unique(known.subject):
        mine = np.flatnonzero(known.subject == person)
        later = known.session[mine][:, None] > known.session[mine]
        equal = (known.keys[mine][:, None] == known.keys[mine]).all(axis=2)
        pairs, hits = pairs + int(later.sum()), hits + int((equal & later).sum())
    expected = pairs * 2.0 ** -known.keys.shape[1]
    return bool(hits and poisson.sf(hits - 1, expected) < _CHANCE)


def habits_of(known: Exchange | None) -> tuple[Array | None, float]:
    """What everybody has at each place, and what a person's own past symbol counts against it.

    Parameters
    ----------
    known : Exchange or None
        Other people's finished runs, with witnesses; of several sessions each if habits are to be seen.

    Returns
    -------
    counts : (m, alphabet) float or None
        Shares of each symbol at each place; None: nobody to learn from.
    strength : float
        Of `STRENGTHS`, the one under which other people's later sessions were likeliest.
    """
    if known is None or known.witness is None:
        return None, 1.0
    witness = known.witness
    shares = _shares(witness.symbols[witness.acquired], witness.alphabet)
    later, counts = [], []
    for person in np.unique(known.subject):
        mine = np.flatnonzero((known.subject == person) & witness.acquired)
        for session in np.unique(known.session[mine])[1:]:
            past = mine[known.session[mine] < session]
            now = mine[known.session[mine] == session]
            later.append(witness.symbols[now])
            own = _counts(witness.symbols[past], witness.alphabet)
            counts.append(np.broadcast_to(own, (len(now), *own.shape)))
    if not later:
        return shares, 1.0
    symbols, own = np.concatenate(later), np.concatenate(counts)
    place = np.arange(symbols.shape[1])
    scores = []
    for strength in STRENGTHS:
        told = normalised(np.log(shares + strength * own))
        scores.append(float(told[np.arange(len(symbols))[:, None], place, symbols].mean()))
    return shares, STRENGTHS[int(np.argmax(scores))]


def habit_belief(view: View, past: Exchange, habits: tuple[Array | None, float]) -> Belief:
    """Belief that a person has what everybody has, and what they had themselves.

    Parameters
    ----------
    view : View
    past : Exchange
        The victims' past sessions with witnesses.
    habits
        From `habits_of`.
    """
    witness = past.witness
    if witness is None:
        raise ValueError("`history` must hold the victims' past witnesses, got none")
    shares, strength = habits
    if shares is None:
        shares = np.full((witness.symbols.shape[1], witness.alphabet), 1 / witness.alphabet)
    told = np.empty((view.attempts, *shares.shape))
    for i, (person, session) in enumerate(zip(view.subject, view.session, strict=True)):
        mine = past_rows(past, person, session)
        own = _counts(witness.symbols[mine[witness.acquired[mine]]], witness.alphabet)
        told[i] = np.log(shares + strength * own)
    return Belief(log_prob=normalised(told))


def _counts(symbols: Array, alphabet: int) -> Array:
    """(m, alphabet) how often each symbol stood at each place."""
    return np.stack([(symbols == value).sum(axis=0) for value in range(alphabet)], axis=1).astype(float)


def _shares(symbols: Array, alphabet: int) -> Array:
    counts = _counts(symbols, alphabet) + 1 / alphabet
    return np.asarray(counts / counts.sum(axis=1, keepdims=True))
