"""Reading with help: whoever has a sensor uses what A publishes about its features, as device B does."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_softmax
from sklearn.linear_model import Ridge

from attacks.channels import MOST_EXAMPLES, Channel, Maker, inputs_of, part
from harness import validate
from harness.contracts import Array, Helper, View, Witness
from harness.errors import ContractError
from harness.optional_parts import Assisting

__all__ = ["Helped", "fits", "helped", "read_with_help"]

_HOLD = 1e-6  # keeps weights of ways that tell nothing from drifting


@dataclass(frozen=True, slots=True)
class Helped:
    """What an adversary saw of its victims and of other people, with what help makes of it behind."""

    seen: Witness  # features: those that came, then those of the assisted reading
    known: Witness
    columns: int  # how many came
    makers: tuple[Maker, ...]  # of channels that read the assisted columns


def read_with_help(scheme: Any, witness: Witness, helper: Helper) -> Witness | None:
    """A witness as the scheme reads it with helper data; None if it does not say how, or nobody knows them.

    Raises
    ------
    ContractError
        If what the scheme returns is no witness of as many symbols.
    """
    if not isinstance(scheme, Assisting) or not helper:
        return None
    name = str(getattr(scheme, "name", type(scheme).__name__))
    rows, m = witness.symbols.shape
    found = validate.witness(name, scheme.assisted(witness, helper), rows)
    if (found.symbols.shape[1], found.alphabet) != (m, witness.alphabet):
        raise ContractError(
            name,
            "assisted()",
            f"a witness of {m} symbols of {witness.alphabet}",
            f"{found.symbols.shape[1]} of {found.alphabet}",
        )
    return found


def helped(view: View, seen: Witness, known: Witness, members: Array, *, neighbours: int) -> Helped | None:
    """What was seen, read again with the helper data of each attempt; None if a scheme has no such help.

    An adversary's features differ from A's in scale and are nearer to the mean. So what is read with help
    is not they but the estimate of A's features that they give, as learned from other people.

    Parameters
    ----------
    view : View
        With helper data, and a population whose witnesses are known.
    seen, known : Witness
        The adversary's, row for row of the view, and of other people.
    members : int, shape (rows,)
        Whose of the population's rows those of `known` are.
    neighbours : int
        Symbols before and after that go into the estimate.
    """
    learned = view.population
    if learned is None or learned.witness is None or not isinstance(view.scheme, Assisting):
        return None
    estimates = _estimates(seen, known, part(learned.witness, members), neighbours)
    theirs = {name: array[members] for name, array in learned.helper.items()}
    mine, others = (
        read_with_help(view.scheme, witness, helper)
        for witness, helper in zip(estimates, (view.helper, theirs), strict=True)
    )
    if mine is None or others is None:
        return None
    columns = _columns(seen).shape[2]
    return Helped(
        seen=_behind(seen, mine),
        known=_behind(known, others),
        columns=columns,
        makers=(lambda s, t, rng: fits(s, t, rng, first=columns),),
    )


def _estimates(seen: Witness, known: Witness, true: Witness, neighbours: int) -> tuple[Witness, Witness]:
    """Both with the features that A is expected to have had; as they are where A's are not known."""
    if true.features is None or not true.acquired.any():
        return seen, known
    usable = true.acquired & (known.acquired if (known.acquired & true.acquired).any() else True)
    inputs, target = inputs_of(known, neighbours=neighbours)[usable], true.features[usable]
    model = Ridge(alpha=1e-6)
    model.fit(inputs.reshape(-1, inputs.shape[2]), target.reshape(-1, target.shape[2]))

    def estimated(witness: Witness) -> Witness:
        inputs = inputs_of(witness, neighbours=neighbours)
        found = model.predict(inputs.reshape(-1, inputs.shape[2]))
        return replace(witness, features=found.reshape(*inputs.shape[:2], -1))

    return estimated(seen), estimated(known)


def _columns(witness: Witness) -> Array:
    features = witness.features
    if features is None:
        features = np.eye(witness.alphabet)[witness.symbols]
    return np.where(np.isfinite(features), features, 0.0)


def _behind(plain: Witness, read: Witness) -> Witness:
    features = np.concatenate([_columns(plain), _columns(read)], axis=2)
    return replace(plain, symbols=read.symbols, features=features)


@dataclass(frozen=True, slots=True)
class Fits:
    """Log-probabilities as weighted sums of how well each value of a symbol fits, in several ways."""

    weights: Array  # (ways,)
    bias: Array  # (alphabet,)
    first: int  # column of the features

    def __call__(self, seen: Witness) -> Array:
        ways = _ways(seen, len(self.bias), self.first)
        return np.asarray(log_softmax(ways @ self.weights + self.bias, axis=-1))


def fits(seen: Witness, true: Witness, rng: np.random.Generator, *, first: int = 0) -> Channel | None:
    """A conditional logit (McFadden 1974, from memory) of the fits; None where columns are no fits.

    Parameters
    ----------
    seen : Witness
        Features (rows, m, first + ways * alphabet): see `harness.optional_parts.Assisting`.
    true : Witness
    rng : numpy.random.Generator
        Draws the examples where there are many.
    first : int
        Columns that are not read.
    """
    alphabet = true.alphabet
    if seen.features is None or (seen.features.shape[2] - first) % alphabet:
        return None
    ways = _ways(seen, alphabet, first)
    flat, truth = ways.reshape(-1, *ways.shape[2:]), true.symbols.ravel().astype(np.intp)
    if len(flat) > MOST_EXAMPLES:
        some = rng.choice(len(flat), MOST_EXAMPLES, replace=False)
        flat, truth = flat[some], truth[some]
    count = flat.shape[2]
    spread = np.maximum(flat.std(axis=(0, 1)), 1e-12)
    scaled, each = flat / spread, np.arange(len(truth))
    chosen = scaled[each, truth]  # (examples, ways)
    share = np.bincount(truth, minlength=alphabet) / len(truth)

    def loss(parameters: Array) -> tuple[float, Array]:
        weights, bias = parameters[:count], parameters[count:]
        log_prob = log_softmax(scaled @ weights + bias, axis=1)
        told = np.exp(log_prob)
        slope = np.concatenate(
            [
                np.einsum("ek,ekw->w", told, scaled) / len(truth) - chosen.mean(axis=0),
                told.mean(axis=0) - share,
            ]
        )
        held = _HOLD * float(parameters @ parameters)
        return held - float(log_prob[each, truth].mean()), slope + 2 * _HOLD * parameters

    found = minimize(loss, np.zeros(count + alphabet), jac=True, method="L-BFGS-B").x
    return Fits(found[:count] / spread, found[count:], first)


def _ways(seen: Witness, alphabet: int, first: int) -> Array:
    """(rows, m, first + ways * alphabet) -> (rows, m, alphabet, ways)."""
    features = _columns(seen)[:, :, first:]
    return features.reshape(*features.shape[:2], -1, alphabet).swapaxes(2, 3)
