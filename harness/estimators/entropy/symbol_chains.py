"""A source of symbols in which each may depend on the one before it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, frozen

__all__ = [
    "SymbolChain",
    "chain_of_counts",
    "fitted_chain",
    "independent_symbols",
    "stationary_chain",
    "step_counts",
]


@dataclass(frozen=True, slots=True)
class SymbolChain:
    """A Markov chain of m symbols, homogeneous or not.

    Parameters
    ----------
    start : (alphabet,) float
        Distribution of the first symbol.
    steps : (m - 1, alphabet, alphabet) float
        ``steps[t, x, y]``: probability that symbol t + 1 is y where symbol t is x.

    Raises
    ------
    ValueError
        If a shape does not fit, a probability is negative, or probabilities do not sum to 1.
    """

    start: Array
    steps: Array

    def __post_init__(self) -> None:
        start, steps = (np.asarray(a, np.float64) for a in (self.start, self.steps))
        alphabet = start.size
        if start.ndim != 1 or steps.ndim != 3 or steps.shape[1:] != (alphabet, alphabet):
            raise ValueError(
                "`start` must be (alphabet,) and `steps` (m - 1, alphabet, alphabet), got "
                f"{start.shape} and {steps.shape}"
            )
        for name, table in (("start", start), ("steps", steps)):
            sums = table.sum(axis=-1)
            if table.size and not (np.min(table) >= 0 and np.abs(sums - 1).max() < 1e-9):
                worst = float(np.ravel(sums)[np.abs(np.ravel(sums) - 1).argmax()])
                raise ValueError(
                    f"`{name}` must hold distributions, got a least entry of {np.min(table):.6g} and "
                    f"a sum of {worst:.6g}"
                )
        object.__setattr__(self, "start", frozen(start))
        object.__setattr__(self, "steps", frozen(steps))

    @property
    def alphabet(self) -> int:
        return int(self.start.size)

    @property
    def symbols(self) -> int:
        return len(self.steps) + 1


def independent_symbols(symbol_probability: Array) -> SymbolChain:
    """Independent symbols, each with a distribution of its own.

    Parameters
    ----------
    symbol_probability : (m, alphabet) float
    """
    shares = np.asarray(symbol_probability, np.float64)
    m, alphabet = shares.shape
    return SymbolChain(shares[0], np.broadcast_to(shares[1:, None, :], (m - 1, alphabet, alphabet)))


def stationary_chain(transitions: Array, symbols: int) -> SymbolChain:
    """The same step throughout, begun in the distribution that it keeps.

    Parameters
    ----------
    transitions : (alphabet, alphabet) float
        Each row a distribution.
    symbols : int

    Raises
    ------
    ValueError
        If more than one distribution is kept, so that "stationary" does not say which.
    """
    step = np.asarray(transitions, np.float64)
    alphabet = len(step)
    system = np.concatenate([step.T - np.eye(alphabet), np.ones((1, alphabet))])
    if np.linalg.matrix_rank(system, tol=1e-9) < alphabet:
        raise ValueError("`transitions` must keep one distribution only, got several closed classes")
    start = np.linalg.lstsq(system, np.eye(alphabet + 1)[-1], rcond=None)[0]
    start = np.clip(start, 0, None)
    return SymbolChain(start / start.sum(), np.broadcast_to(step, (symbols - 1, alphabet, alphabet)))


def fitted_chain(symbols: Array, *, alphabet: int, smoothing: float = 0.5) -> SymbolChain:
    """Order-1 chain with the shares and transitions seen, the same at every position.

    Parameters
    ----------
    symbols : (attempts, m) int
        Transitions are counted inside attempts, never from one attempt to the next.
    alphabet : int
    smoothing : float
        Added to the count of every transition in proportion to the share of the symbol that it leads to:
        a transition never seen stays possible, one out of a symbol never seen is independent of it. The
        first symbol has the shares of all symbols, each with as much added for a uniform one.

    Returns
    -------
    SymbolChain

    Raises
    ------
    ValueError
        If there is no symbol, or one outside the alphabet.
    """
    singles, pairs = step_counts(symbols, alphabet=alphabet)
    return chain_of_counts(singles, pairs, symbols=np.shape(symbols)[1], smoothing=smoothing)


def step_counts(symbols: Array, *, alphabet: int) -> tuple[Array, Array]:
    """How often each symbol (alphabet,), and each transition (alphabet, alphabet), is in some attempts.

    Raises
    ------
    ValueError
        If there is no symbol, or one outside the alphabet.
    """
    values = np.asarray(symbols)
    if values.size == 0 or values.ndim != 2:
        raise ValueError(f"`symbols` must be (attempts, m) and not empty, got shape {values.shape}")
    if values.dtype.kind not in "iub" or int(values.min()) < 0 or int(values.max()) >= alphabet:
        raise ValueError(f"`symbols` must be whole numbers from 0 to {alphabet - 1}, got others")
    values = values.astype(np.intp)
    pairs = values[:, :-1] * alphabet + values[:, 1:]
    count = np.bincount(pairs.ravel(), minlength=alphabet**2).reshape(alphabet, alphabet)
    return np.bincount(values.ravel(), minlength=alphabet), count


def chain_of_counts(singles: Array, pairs: Array, *, symbols: int, smoothing: float) -> SymbolChain:
    """As `fitted_chain`, from how often each symbol (alphabet,) and each transition was seen."""
    alphabet = len(singles)
    shares = (singles + smoothing / alphabet) / (singles.sum() + smoothing)
    step = pairs + smoothing * shares
    step = step / step.sum(axis=1, keepdims=True)
    return SymbolChain(shares, np.broadcast_to(step, (symbols - 1, alphabet, alphabet)))
