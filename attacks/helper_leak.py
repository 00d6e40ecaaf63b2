"""Decoding from the public helper data alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.channels import normalised
from attacks.help_alone import told_by_help
from attacks.help_untold import told_by_arrays
from attacks.list_decoding import blocks_of, listed
from attacks.potential import PROPOSED
from attacks.reproducing import even, keys_of
from attacks.sensing import position_prior
from attacks.strings import fitted_chain, order_that_fits
from harness.contracts import Array, Belief, Guesses, View, Witness

LISTABLE = 7.0  # bits that the helper data leave of a witness: about as many as the list holds


@dataclass(frozen=True, slots=True)
class HelperLeak:
    """Believes what other people's symbols suggest; the harness decodes the helper data under that.

    Where symbols depend on the ones before them so much that little is left given the helper data, whole
    witnesses are decoded into a list instead: no belief about single symbols can say as much. What is
    published to help in reading features is used as far as it told of other people's symbols by itself, and
    so are arrays with a number for every symbol of which the scheme says nothing.
    """

    name: str = "helper-leak"
    sees: frozenset[str] = frozenset({"helper", "population"})
    potential = PROPOSED["helper-leak"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        learned = view.population
        witness = learned.witness if learned else None
        if learned is None or witness is None:
            raise ValueError("`population` must hold other people's witnesses, got none")
        keys = _decoded(view, witness, learned.subject)
        if keys is not None:
            return Guesses(keys=keys)
        prior = position_prior(view, witness.symbols.shape[1], witness.alphabet)
        log_prob = np.broadcast_to(prior, (view.attempts, *prior.shape)).copy()
        for told in (told_by_help(view, rng=rng), told_by_arrays(view, rng=rng)):
            if told is not None:
                log_prob = normalised(log_prob + told)
        return Belief(log_prob=log_prob)


def _decoded(view: View, witness: Witness, subject: Array) -> Array | None:
    """(attempts, g, key_bits) of the likeliest witnesses, or None where a list has no hope."""
    scheme = view.scheme
    if not all(hasattr(scheme, member) for member in ("labels", "linear", "reproduce")):
        return None
    strings = witness.symbols[witness.acquired]
    order, surprise = order_that_fits(strings, subject[witness.acquired], witness.alphabet, most=1)
    if order != 1:
        return None
    labels = np.asarray(scheme.labels)
    linear = scheme.linear(view.helper)
    if surprise - linear.syndrome[0].size > LISTABLE:
        return None
    blocks = blocks_of(linear, labels.shape[1])
    if blocks is None or blocks.symbols[-1][-1] + 1 != witness.symbols.shape[1]:
        return None
    chain = fitted_chain(strings, witness.alphabet, 1)
    usual = strings[:1]
    lists = [listed(blocks, chain, labels, said) for said in linear.syndrome]
    lists = [found if len(found) else usual for found in lists]
    return keys_of(scheme, view.helper, even(lists), witness.alphabet)
