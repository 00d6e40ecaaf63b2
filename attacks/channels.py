"""From what an adversary's own quantiser makes of its capture to probabilities of A's symbols.

Three ways, each learned on other people; the one that predicts best on people it did not learn
from is used:

* `SymbolTable`: hard decisions, P(A's symbol | symbol seen);
* `Regression`: soft decisions, a logistic model of the features seen here and next to here;
* `Residuals`: soft decisions, the feature that A must have had within the error seen on others, and the
  symbol that A's quantiser gives it. This one also follows cells that recur, such as Gray-coded remainders.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
from scipy.special import logsumexp
from sklearn.exceptions import ConvergenceWarning
from sklearn.linear_model import LogisticRegression, Ridge
from sklearn.preprocessing import StandardScaler

from harness.contracts import Array, Witness

__all__ = [
    "MAKERS",
    "Channel",
    "Maker",
    "assumed_table",
    "examples_of",
    "inputs_of",
    "learned_channel",
    "log_score",
    "normalised",
    "part",
    "regression",
    "residual_lookup",
    "symbol_table",
]

NEIGHBOURS = 2  # symbols before and after whose features help
MOST_EXAMPLES = 20_000
DOUBTS = (1e-4, 1e-3, 1e-2, 0.03, 0.1, 0.2, 0.4)  # shares of the marginal that are tried
HELD_OUT = 100  # attempts on which the choice is made
RESIDUALS = 161


class Channel(Protocol):
    """P(A's symbol | what was seen), as natural logs (rows, m, alphabet)."""

    def __call__(self, seen: Witness) -> Array: ...


@dataclass(frozen=True, slots=True)
class SymbolTable:
    """Hard decisions."""

    log_prob: Array  # (alphabet seen, alphabet)

    def __call__(self, seen: Witness) -> Array:
        return np.asarray(self.log_prob[seen.symbols])


def symbol_table(seen: Witness, true: Witness) -> SymbolTable:
    """Frequencies with one count shared by each row, so that nothing is impossible."""
    q = true.alphabet
    joint = np.bincount(
        seen.symbols.ravel().astype(np.intp) * q + true.symbols.ravel(), minlength=seen.alphabet * q
    )
    table = joint.reshape(seen.alphabet, q) + 1.0 / q
    return SymbolTable(np.log(table / table.sum(axis=1, keepdims=True)))


def assumed_table(alphabet: int, *, error: float = 0.3) -> SymbolTable:
    """What an adversary with nobody to learn from may assume: right with 1 - error, else anything."""
    table = np.full((alphabet, alphabet), error / (alphabet - 1))
    np.fill_diagonal(table, 1 - error)
    return SymbolTable(np.log(table))


def inputs_of(seen: Witness, *, neighbours: int = NEIGHBOURS) -> Array:
    """(rows, m, inputs): features here and at the neighbours, standing still at the ends."""
    features = seen.features
    if features is None:
        features = np.eye(seen.alphabet)[seen.symbols]
    features = np.where(np.isfinite(features), features, 0.0)
    m = features.shape[1]
    moved = [
        features[:, np.clip(np.arange(m) + step, 0, m - 1)] for step in range(-neighbours, neighbours + 1)
    ]
    return np.concatenate(moved, axis=2)


@dataclass(frozen=True, slots=True)
class Regression:
    """Soft decisions through a multinomial logistic model."""

    scaler: StandardScaler
    model: LogisticRegression
    alphabet: int
    neighbours: int = NEIGHBOURS

    def __call__(self, seen: Witness) -> Array:
        inputs = inputs_of(seen, neighbours=self.neighbours)
        flat = _curved(self.scaler.transform(inputs.reshape(-1, inputs.shape[2])))
        probability = np.zeros((len(flat), self.alphabet))
        probability[:, self.model.classes_.astype(np.intp)] = self.model.predict_proba(flat)
        with np.errstate(divide="ignore"):
            return np.log(probability).reshape(*inputs.shape[:2], self.alphabet)


def _curved(x: Array) -> Array:
    """Inputs with their squares: the middle symbols lie between two bounds."""
    x = np.clip(x, -6, 6)
    return np.concatenate([x, x**2], axis=1)


def examples_of(
    seen: Witness, true: Witness, rng: np.random.Generator, *, neighbours: int = NEIGHBOURS
) -> tuple[Array, Array]:
    """At most MOST_EXAMPLES symbols, drawn at random, and the inputs that go with them."""
    inputs, symbols = inputs_of(seen, neighbours=neighbours), true.symbols.ravel()
    flat = inputs.reshape(-1, inputs.shape[2])
    if len(flat) > MOST_EXAMPLES:
        some = rng.choice(len(flat), MOST_EXAMPLES, replace=False)
        flat, symbols = flat[some], symbols[some]
    return flat, symbols


def regression(
    seen: Witness, true: Witness, rng: np.random.Generator, *, neighbours: int = NEIGHBOURS
) -> Regression | None:
    """Fitted on some examples; None where only one symbol occurs."""
    flat, symbols = examples_of(seen, true, rng, neighbours=neighbours)
    if len(np.unique(symbols)) < 2:
        return None
    scaler = StandardScaler().fit(flat)
    model = LogisticRegression(C=1.0, max_iter=100)
    with warnings.catch_warnings():
        # a fit cut short is judged on held-out people like any other
        warnings.simplefilter("ignore", ConvergenceWarning)
        model.fit(_curved(scaler.transform(flat)), symbols)
    return Regression(scaler, model, true.alphabet, neighbours)


@dataclass(frozen=True, slots=True)
class Residuals:
    """Soft decisions through the feature that A must have had."""

    model: Ridge
    residuals: Array  # (RESIDUALS,) quantiles of A's feature minus its prediction
    places: Array  # (n,) sorted features of other people's A
    symbols: Array  # (n,) the symbols that A's quantiser gave them
    reach: float  # how far from a known place its symbol still holds
    alphabet: int

    def __call__(self, seen: Witness) -> Array:
        inputs = inputs_of(seen)
        centre = self.model.predict(inputs.reshape(-1, inputs.shape[2]))
        counts = np.zeros((len(centre), self.alphabet))
        each = np.arange(len(centre))
        last = len(self.places) - 1
        for residual in self.residuals:
            wanted = centre + residual
            right = np.clip(np.searchsorted(self.places, wanted), 0, last)
            left = np.clip(right - 1, 0, last)
            to_left, to_right = np.abs(self.places[left] - wanted), np.abs(self.places[right] - wanted)
            known = np.minimum(to_left, to_right) <= self.reach
            symbol = self.symbols[np.where(to_right < to_left, right, left)]
            counts[each[known], symbol[known]] += 1
            counts[~known] += 1 / self.alphabet
        smooth = (counts + 0.5 / self.alphabet) / (len(self.residuals) + 0.5)
        return np.log(smooth).reshape(*inputs.shape[:2], self.alphabet)


def residual_lookup(seen: Witness, true: Witness) -> Residuals | None:
    """None where there is not exactly one feature a symbol on both sides."""
    if true.features is None or seen.features is None:
        return None
    if true.features.shape[2] != 1 or seen.features.shape[2] != 1:
        return None
    inputs = inputs_of(seen)
    target = true.features[:, :, 0].ravel()
    model = Ridge(alpha=1e-6).fit(inputs.reshape(-1, inputs.shape[2]), target)
    errors = target - model.predict(inputs.reshape(-1, inputs.shape[2]))
    order = np.argsort(target, kind="stable")
    return Residuals(
        model=model,
        residuals=np.quantile(errors, (np.arange(RESIDUALS) + 0.5) / RESIDUALS),
        places=target[order],
        symbols=true.symbols.ravel()[order],
        reach=_reach(target[order], true.symbols.ravel()[order]),
        alphabet=true.alphabet,
    )


def _reach(places: Array, symbols: Array) -> float:
    """Half the least distance at which neighbouring places often differ in symbol; inf if there is none.

    Where few people have been, a quantiser whose cells recur cannot be read off its neighbours; one with
    two open ends can.
    """
    gaps, equal = np.diff(places), symbols[1:] == symbols[:-1]
    for exponent in range(-40, 20):
        wider = gaps > 2.0**exponent
        if wider.sum() >= 5 and equal[wider].mean() < 0.7:
            return float(2.0 ** (exponent - 1))
    return float("inf")


def part(witness: Witness, rows: Array) -> Witness:
    return Witness(
        symbols=witness.symbols[rows],
        alphabet=witness.alphabet,
        acquired=witness.acquired[rows],
        features=None if witness.features is None else witness.features[rows],
    )


Maker: TypeAlias = Callable[[Witness, Witness, np.random.Generator], Channel | None]
"""(seen, true, rng) -> a channel learned of them; None where it has no meaning."""
MAKERS: tuple[Maker, ...] = (
    lambda seen, true, _: symbol_table(seen, true),
    lambda seen, true, rng: regression(seen, true, rng),
    lambda seen, true, _: residual_lookup(seen, true),
)


def log_score(log_prob: Array, symbols: Array) -> float:
    """Mean natural log-probability of the true symbols."""
    rows, m = symbols.shape
    return float(log_prob[np.arange(rows)[:, None], np.arange(m), symbols].mean())


def learned_channel(
    seen: Witness,
    true: Witness,
    subject: Array,
    *,
    rng: np.random.Generator,
    makers: Sequence[Maker] = MAKERS,
) -> Channel:
    """The best of all channels on people it did not learn from, then fitted on everyone.

    Parameters
    ----------
    seen : Witness
        What the adversary's quantiser made of other people's captures.
    true : Witness
        Their device A's.
    subject : (attempts,) int
    rng : numpy.random.Generator
    makers : sequence of Maker
        Ways that are tried.

    Returns
    -------
    Channel
    """
    people = np.unique(subject)
    if len(people) < 2:
        return symbol_table(seen, true)
    fitted = np.isin(subject, people[::2])
    some, held = np.flatnonzero(fitted), np.flatnonzero(~fitted)
    held = held[np.linspace(0, len(held) - 1, min(len(held), HELD_OUT)).astype(int)]
    marginal = _marginal(true)
    best, chosen, share = -np.inf, makers[0], DOUBTS[0]
    for make in makers:
        trial = make(part(seen, some), part(true, some), rng)
        if trial is None:
            continue
        told = trial(part(seen, held))
        for doubt in DOUBTS:
            score = log_score(doubted(told, marginal, doubt), true.symbols[held])
            if score > best:
                best, chosen, share = score, make, doubt
    channel = chosen(seen, true, rng)
    return Doubted(symbol_table(seen, true) if channel is None else channel, marginal, share)


@dataclass(frozen=True, slots=True)
class Doubted:
    """A channel that allows for people unlike those it learned from, by a share of the marginal."""

    channel: Channel
    marginal: Array  # (alphabet,) natural logs
    share: float

    def __call__(self, seen: Witness) -> Array:
        return doubted(self.channel(seen), self.marginal, self.share)


def doubted(log_prob: Array, marginal: Array, share: float) -> Array:
    """Natural logs of (1 - share) of one distribution and `share` of the other."""
    return np.asarray(np.logaddexp(np.log1p(-share) + log_prob, np.log(share) + marginal))


def _marginal(true: Witness) -> Array:
    counts = np.bincount(true.symbols.ravel(), minlength=true.alphabet) + 1.0
    return np.asarray(np.log(counts / counts.sum()))


def normalised(log_prob: Array) -> Array:
    """Natural logs shifted to sum to one over the last axis."""
    return np.asarray(log_prob - logsumexp(log_prob, axis=-1, keepdims=True))
