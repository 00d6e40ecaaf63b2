"""Several enrolments of one person: their helper data stacked, and the bits that changed between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from attacks.channels import log_score, normalised
from attacks.potential import PROPOSED
from attacks.reproducing import even, keys_of
from attacks.sensing import position_prior
from attacks.stacking import equations, flips_between, solved
from harness.contracts import Array, Belief, Exchange, Guesses, Helper, Linear, View
from harness.gf2 import all_words, product

MOST_PAST = 8  # earlier enrolments of a person that are used
MOST_PAIRS = 2000  # pairs of other people's enrolments that are learned from
MOST_FREE = 10  # log2 of the witnesses that are tried where equations leave several
SAME = 0.5  # share of other people's pairs with equal witnesses from which on enrolments are stacked


@dataclass(frozen=True, slots=True)
class HelperReuse:
    """Where people bring the same witness again, equations of all their helper data are solved together.

    Where they bring a similar one, differences of helper data tell which bits flipped, and a symbol whose
    bits flip is likely to lie near the edge of its cell: how likely is learned from other people.
    """

    name: str = "helper-reuse"
    sees: frozenset[str] = frozenset({"helper", "history", "population"})
    potential = PROPOSED["helper-reuse"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        known, past = view.population, view.history
        if known is None or known.witness is None or past is None:
            raise ValueError("`population` and `history` must hold finished runs, got none")
        scheme, witness = view.scheme, known.witness
        prior = position_prior(view, witness.symbols.shape[1], witness.alphabet)
        told = np.broadcast_to(prior, (view.attempts, *prior.shape)).copy()
        if not all(hasattr(scheme, member) for member in ("labels", "linear", "reproduce")):
            return Belief(log_prob=told)  # nothing says what the helper data mean
        labels = np.asarray(scheme.labels)
        before = [_before(past, s, t) for s, t in zip(view.subject, view.session, strict=True)]
        first, second = _pairs(known, rng)
        equal = (witness.symbols[first] == witness.symbols[second]).all(axis=1)
        if len(first) and equal.mean() > SAME:
            tried = _stacked(scheme, view.helper, past, before, labels, prior)
            return Guesses(keys=keys_of(scheme, view.helper, tried, witness.alphabet))
        whole = scheme.linear(_joined(view.helper, past.helper))
        if len(first) == 0 or len(whole.positions) > 1 or whole.parity.shape[0] > 62:
            return Belief(log_prob=told)
        shown = _flipped(scheme.linear(known.helper), first, second, labels, witness.symbols.shape[1])
        table = _table(
            shown, witness.symbols[first], prior, known.subject[first], states=3 ** labels.shape[1]
        )
        if table is None:
            return Belief(log_prob=told)
        for i, rows in enumerate(before):
            here = np.full(len(rows), i)
            mine = _flipped(whole, here, view.attempts + rows, labels, witness.symbols.shape[1])
            told[i] += table[mine].mean(axis=0)  # pairs share this enrolment: their mean, not their sum
        return Belief(log_prob=normalised(told))


def _before(past: Exchange, person: int, session: int) -> Array:
    rows = np.flatnonzero((past.subject == person) & (past.session < session))
    return rows[np.argsort(-past.session[rows], kind="stable")][:MOST_PAST]


def _pairs(known: Exchange, rng: np.random.Generator) -> tuple[Array, Array]:
    """Other people's attempts, each with one of an earlier session of the same person."""
    later, earlier = np.nonzero(
        (known.subject[:, None] == known.subject) & (known.session[:, None] > known.session)
    )
    if len(later) > MOST_PAIRS:
        some = np.sort(rng.choice(len(later), MOST_PAIRS, replace=False))
        later, earlier = later[some], earlier[some]
    return later, earlier


def _joined(some: Helper, more: Helper) -> Helper:
    return {name: np.concatenate([some[name], more[name]]) for name in some}


def _stacked(
    scheme: Any, helper: Helper, past: Exchange, before: list[Array], labels: Array, prior: Array
) -> Array:
    """(attempts, g, symbols): witnesses that fit all equations of a person, the likeliest first.

    Who has fewer than another repeats the last; who has none, or too many to list, guesses what everybody
    has.
    """
    whole = scheme.linear(_joined(helper, past.helper))
    symbols, width = prior.shape[0], labels.shape[1]
    usual = prior.argmax(axis=1)[None]
    lists = []
    for i, rows in enumerate(before):
        found = _agreeing(whole, [i, *(len(before) + rows).tolist()], symbols * width)
        lists.append(usual if found is None else _likeliest(*found, labels, prior, usual))
    return even(lists)


def _agreeing(whole: Linear, rows: list[int], bits: int) -> tuple[Array, Array] | None:
    """Solutions of all enrolments at once or, if they contradict each other, of all that fit the first."""
    sides = [equations(whole, row, bits) for row in rows]
    found = solved(np.concatenate([s[0] for s in sides]), np.concatenate([s[1] for s in sides]))
    if found is not None:
        return found
    left, right = sides[0]
    found = solved(left, right)
    for more_left, more_right in sides[1:]:
        trial = np.concatenate([left, more_left]), np.concatenate([right, more_right])
        fits = solved(*trial)
        if fits is not None:
            found, (left, right) = fits, trial
    return found


def _likeliest(one: Array, basis: Array, labels: Array, prior: Array, usual: Array) -> Array:
    """Solutions that spell symbols, by the prior."""
    if len(basis) > MOST_FREE:
        return usual
    words = one ^ product(all_words(len(basis)), basis)
    spelt = words.reshape(len(words), len(prior), -1)
    match = (spelt[:, :, None, :] == labels).all(axis=3)  # (words, symbols, alphabet)
    whole = match.any(axis=2).all(axis=1)
    if not whole.any():
        return usual
    symbols = match[whole].argmax(axis=2)
    score = prior[np.arange(len(prior)), symbols].sum(axis=1)
    return np.asarray(symbols[np.argsort(-score, kind="stable")])


def _flipped(linear: Linear, here: Array, there: Array, labels: Array, symbols: int) -> Array:
    """(pairs, symbols) int: which bits of each symbol seem to have flipped, as a number; 3 states a bit."""
    width = labels.shape[1]
    seen = flips_between(linear, here, there, symbols * width).reshape(len(here), symbols, width)
    return np.asarray((2 * seen).astype(np.intp) @ (3 ** np.arange(width)))


def _table(shown: Array, symbols: Array, prior: Array, subject: Array, *, states: int) -> Array | None:
    """(states, alphabet) natural logs of how much likelier each symbol is, or None if it does not help.

    Learned on half of the people, kept if the other half bears it out.
    """
    alphabet = prior.shape[1]
    half = np.isin(subject, np.unique(subject)[::2])
    if half.all() or not half.any():
        return None

    def learned(rows: Array) -> Array:
        cells = (shown[rows] * alphabet + symbols[rows]).ravel()
        joint = np.bincount(cells, minlength=states * alphabet).reshape(states, alphabet)
        usual = (joint.sum(axis=0) + 1.0) / (joint.sum() + alphabet)
        smooth = joint + alphabet * usual  # a state that nobody showed says nothing
        return np.asarray(np.log(smooth / smooth.sum(axis=1, keepdims=True)) - np.log(usual))

    trial = normalised(prior + learned(half)[shown[~half]])
    base = np.broadcast_to(prior, trial.shape)
    if log_score(trial, symbols[~half]) <= log_score(base, symbols[~half]):
        return None
    return learned(np.ones(len(shown), bool))
