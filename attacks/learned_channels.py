"""Channels of many features: what a learned attack tries beside those of a plain one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from sklearn.base import clone
from sklearn.ensemble import HistGradientBoostingClassifier

from attacks.channels import (
    Channel,
    Maker,
    examples_of,
    inputs_of,
    normalised,
    regression,
    residual_lookup,
    symbol_table,
)
from harness.contracts import Array, Witness

__all__ = ["boosted_trees", "estimated", "makers_for", "narrowed"]

_LEAST = 1e-9


@dataclass(frozen=True, slots=True)
class Estimated:
    """Any probabilistic estimator of scikit-learn, on features that hold their neighbours already."""

    model: Any
    alphabet: int

    def __call__(self, seen: Witness) -> Array:
        inputs = inputs_of(seen, neighbours=0)
        probability = np.full((inputs.shape[0] * inputs.shape[1], self.alphabet), _LEAST)
        told = self.model.predict_proba(inputs.reshape(-1, inputs.shape[2]))
        probability[:, np.asarray(self.model.classes_).astype(np.intp)] += told
        return normalised(np.log(probability).reshape(*inputs.shape[:2], self.alphabet))


@dataclass(frozen=True, slots=True)
class Pooled:
    """The normalised geometric mean of several channels: each makes up for what another is too sure of."""

    channels: tuple[Channel, ...]

    def __call__(self, seen: Witness) -> Array:
        return normalised(np.mean([np.maximum(c(seen), np.log(_LEAST)) for c in self.channels], axis=0))


@dataclass(frozen=True, slots=True)
class Narrowed:
    """A channel that reads the first features only."""

    channel: Channel
    columns: int

    def __call__(self, seen: Witness) -> Array:
        return self.channel(_narrowed(seen, self.columns))


def _narrowed(seen: Witness, columns: int) -> Witness:
    return replace(seen, features=None if seen.features is None else seen.features[:, :, :columns])


def narrowed(make: Maker, columns: int) -> Maker:
    """The way that reads the first features only."""

    def made(seen: Witness, true: Witness, rng: np.random.Generator) -> Channel | None:
        channel = make(_narrowed(seen, columns), true, rng)
        return None if channel is None else Narrowed(channel, columns)

    return made


def estimated(seen: Witness, true: Witness, rng: np.random.Generator, *, estimator: Any) -> Channel | None:
    """A fitted copy of the estimator; None where only one symbol occurs."""
    flat, symbols = examples_of(seen, true, rng, neighbours=0)
    if len(np.unique(symbols)) < 2:
        return None
    return Estimated(clone(estimator).fit(flat, symbols), true.alphabet)


def boosted_trees() -> Any:
    """The estimator that is used unless another is given."""
    return HistGradientBoostingClassifier(
        max_iter=40, learning_rate=0.2, max_leaf_nodes=12, min_samples_leaf=40, random_state=0
    )


def makers_for(columns: int, *, estimator: Any = None) -> tuple[Maker, ...]:
    """Ways to learn from an aligned witness: those of a plain attack, and those of many features.

    The regression of a plain attack is not among them: the pooled one has all of its inputs.

    Parameters
    ----------
    columns : int
        Leading features that a plain attack reads.
    estimator : scikit-learn classifier with predict_proba, optional
        Pooled with a logistic regression. None: boosted trees.
    """

    def pooled(seen: Witness, true: Witness, rng: np.random.Generator) -> Channel | None:
        model = boosted_trees() if estimator is None else estimator
        both = (
            regression(seen, true, rng, neighbours=0),
            estimated(seen, true, rng, estimator=model),
        )
        known = tuple(c for c in both if c is not None)
        return Pooled(known) if known else None

    plain: tuple[Maker, ...] = (
        lambda seen, true, _: symbol_table(seen, true),
        lambda seen, true, _: residual_lookup(seen, true),
    )
    return (*(narrowed(make, columns) for make in plain), pooled)
