"""What people repeat from one session to the next."""

from __future__ import annotations

import numpy as np

from attacks.channels import normalised
from harness.contracts import Array, Belief, Exchange, View

__all__ = ["habit_belief", "habits_of", "own_keys_recur", "past_rows"]

STRENGTHS = (0.0, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0)
"""What one past symbol of a person may count, against one of everybody's."""
_WORTH = 0.2  # share of keys that come again, from which on trying them beats a belief about symbols


def past_rows(past: Exchange, person: int, session: int) -> Array:
    """Rows of a person's sessions before this one."""
    return np.flatnonzero((past.subject == person) & (past.session < session))


def own_keys_recur(known: Exchange) -> bool:
    """Whether many keys of other people are keys that they had in an earlier session."""
    if known.keys is None:
        return False
    again = []
    for person in np.unique(known.subject):
        mine = np.flatnonzero(known.subject == person)
        later = known.session[mine][:, None] > known.session[mine]
        equal = (known.keys[mine][:, None] == known.keys[mine]).all(axis=2)
        again += (equal & later).any(axis=1)[later.any(axis=1)].tolist()
    by_chance = 2.0 ** -known.keys.shape[1] * len(known.keys)
    return bool(again and np.mean(again) > max(_WORTH, 2 * by_chance))


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
    everybody = _counts(witness.symbols[witness.acquired], witness.alphabet)
    later, counts, others = [], [], []
    for person in np.unique(known.subject):
        mine = np.flatnonzero((known.subject == person) & witness.acquired)
        rest = _shares(everybody - _counts(witness.symbols[mine], witness.alphabet))
        for session in np.unique(known.session[mine])[1:]:
            past = mine[known.session[mine] < session]
            now = mine[known.session[mine] == session]
            later.append(witness.symbols[now])
            own = _counts(witness.symbols[past], witness.alphabet)
            counts.append(np.broadcast_to(own, (len(now), *own.shape)))
            others.append(np.broadcast_to(rest, (len(now), *own.shape)))
    if not later or len(np.unique(known.subject)) < 2:
        return _shares(everybody), 1.0
    symbols, own, shares = np.concatenate(later), np.concatenate(counts), np.concatenate(others)
    place = np.arange(symbols.shape[1])
    scores = []
    for strength in STRENGTHS:
        told = normalised(np.log(shares + strength * own))
        scores.append(float(told[np.arange(len(symbols))[:, None], place, symbols].mean()))
    return _shares(everybody), STRENGTHS[int(np.argmax(scores))]


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


def _shares(counts: Array) -> Array:
    smooth = counts + 1 / counts.shape[1]
    return np.asarray(smooth / smooth.sum(axis=1, keepdims=True))
