"""A model from views to symbols, trained on other people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from attacks.assisting import helped
from attacks.channels import learned_channel, normalised, part
from attacks.features import aligned, lags_of, own_columns, strongest_first
from attacks.learned_channels import makers_for
from attacks.potential import PROPOSED
from attacks.quantising import drawn_rows, some_of
from attacks.sensing import position_prior
from harness.contracts import Array, Belief, View

SENSES = frozenset(
    {"mimic", "camera", "remote", "other-site", "earlier", "partner-touch", "handshake", "neighbour"}
)
EXAMPLES = 100  # attempts of other people, drawn from all of them: more told hardly more of simulated ones


@dataclass(frozen=True, slots=True)
class Profiled:
    """All views at once, or one by name: features early and late, and the learner that did best on others.

    The residual channel of the plain attacks, on the strongest view, is among what is tried; the inputs of
    their regression are among those of the pooled one. It learns from fewer attempts than a plain
    attack may use: an audit says which of the two gained more wherever it ran both (`gain-over`).

    Parameters
    ----------
    view : str or tuple of str
        A role, or several; empty for all of them together.
    estimator : scikit-learn classifier with predict_proba, optional
        Instead of boosted trees.
    """

    view: str | tuple[str, ...] = ""
    estimator: Any = None
    learned = True
    potential = PROPOSED["profiled"]

    def __post_init__(self) -> None:
        # a command line hands over one role as a word, several as a list
        named = (self.view,) if isinstance(self.view, str) else tuple(self.view)
        object.__setattr__(self, "view", tuple(role for role in named if role))

    @property
    def name(self) -> str:
        return "-".join(["profiled", *self.view])

    @property
    def sees(self) -> frozenset[str]:
        return frozenset({"population", *self.view})

    @property
    def likes(self) -> frozenset[str]:
        return frozenset({"helper"}) if self.view else SENSES | {"helper"}

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        learned = view.population
        if learned is None or learned.witness is None:
            raise ValueError("`population` must hold other people's witnesses, got none")
        roles = [r for r in view.captures if r in learned.captures]
        usable = np.flatnonzero(learned.witness.acquired)
        if not roles or not len(usable):
            return _without_a_view(view, learned.witness.symbols.shape[1], learned.witness.alphabet)
        some = usable[drawn_rows(part(learned.witness, usable), EXAMPLES)]
        true, scheme = part(learned.witness, some), view.scheme
        lags = lags_of(scheme, {r: learned.captures[r] for r in roles}, learned.witness)
        theirs = {r: some_of(learned.captures[r], some) for r in roles}
        order = strongest_first(scheme, theirs, lags, true)
        known = aligned(scheme, theirs, lags, order)
        seen = aligned(scheme, {r: view.captures[r] for r in order}, lags, order)
        makers = makers_for(own_columns(scheme, theirs[order[0]]), estimator=self.estimator)
        help_given = helped(view, seen, known, some, neighbours=0)
        if help_given is not None:
            seen, known = help_given.seen, help_given.known
            makers = (*makers, *help_given.makers)
        channel = learned_channel(known, true, learned.subject[some], rng=rng, makers=makers)
        return Belief(log_prob=normalised(channel(seen)))


def _without_a_view(view: View, symbols: int, alphabet: int) -> Belief:
    prior: Array = position_prior(view, symbols, alphabet)
    return Belief(log_prob=np.broadcast_to(prior, (view.attempts, *prior.shape)).copy())
