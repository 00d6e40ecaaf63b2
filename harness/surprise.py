"""How much a belief is surprised by the symbols of A, and by those of B as A's reach it."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.exchange import Honest

__all__ = ["channel_to_b", "expected_surprise", "symbol_surprise"]

_FLOOR = -1e3  # nats: a belief that rules out the truth loses a lot, not everything


def channel_to_b(a: Array, b: Array, alphabet: int) -> Array:
    """(alphabet, alphabet) probability of B's symbol given A's, from other people's attempts.

    One count is shared by the symbols of B, so that nothing is impossible; an A symbol that nobody
    had says nothing of B's.
    """
    counts = np.bincount(a.ravel().astype(np.intp) * alphabet + b.ravel(), minlength=alphabet**2)
    table = counts.reshape(alphabet, alphabet) + 1.0 / alphabet
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def expected_surprise(log_prob: Array) -> Array:
    """Mean surprise, in bits per symbol, that a belief itself expects: its entropy.

    Parameters
    ----------
    log_prob : (rows, m, alphabet)
        Natural logs; -inf allowed.

    Returns
    -------
    (rows,) float
        A belief that is more surprised than it expected is over-confident.
    """
    share = np.exp(log_prob)
    met = (share * np.where(share > 0, log_prob, 0.0)).sum(axis=2).mean(axis=1)
    return np.asarray(0.0 - met / np.log(2))


def symbol_surprise(log_prob: Array, honest: Honest, attempt: Array) -> tuple[Array, Array | None]:
    """Mean surprise, in bits per symbol, at the true symbols of either device.

    Parameters
    ----------
    log_prob : (rows, m, alphabet)
        Belief about A's witness, natural logs.
    honest : Honest
    attempt : (rows,) int
        Whose attempts the beliefs are about; the channel from A to B is learned on everyone else
        whom an adversary may learn from.

    Returns
    -------
    at_a : (rows,) float
        No view is on average less surprised than the entropy that it leaves.
    at_b : (rows,) float or None
        The same for B's symbols, under the belief sent through the channel; NaN where B acquired nothing,
        None with nobody else to learn from.
    """
    rows, m, alphabet = log_prob.shape
    place = np.arange(m)
    each = np.arange(rows)[:, None]
    at_a = -np.maximum(log_prob[each, place, honest.a.symbols[attempt]], _FLOOR).mean(axis=1) / np.log(2)
    others = ~np.isin(honest.subject, honest.subject[attempt]) & honest.teachers
    others &= honest.a.acquired & honest.b.acquired
    if not others.any():
        return at_a, None
    channel = channel_to_b(honest.a.symbols[others], honest.b.symbols[others], alphabet)
    reaching = np.log(np.maximum(np.exp(log_prob) @ channel, np.exp(-700.0)))
    at_b = -reaching[each, place, honest.b.symbols[attempt]].mean(axis=1) / np.log(2)
    return at_a, np.where(honest.b.acquired[attempt], at_b, np.nan)
