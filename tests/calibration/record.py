"""Min-entropy of records, by a jackknife over people."""

from __future__ import annotations

from functools import partial

import numpy as np

from calibration.case import Case
from harness.contracts import Array
from harness.estimators.record import chain_record, independent_record, likeliest_path

SYMBOLS = 30


def independent(rng: np.random.Generator, *, shares: tuple[float, ...], spread: float) -> bool:
    """Symbols of twenty people; `spread` is the concentration of people around the shares, 0 for none."""
    p = np.array(shares)
    truth = -SYMBOLS * np.log2(p.max())
    people = rng.dirichlet(p / spread, 20) if spread else np.tile(p, (20, 1))
    rows = np.repeat(people, 10, axis=0)
    symbols = (rng.random((200, SYMBOLS, 1)) > np.cumsum(rows, axis=1)[:, None, :-1]).sum(axis=2)
    found = independent_record(symbols, np.repeat(np.arange(20), 10), alphabet=len(p))
    return found.low <= truth <= found.high


def chained(rng: np.random.Generator, *, stays: float, alphabet: int) -> bool:
    first = np.full(alphabet, 1 / alphabet)
    first[0] += 0.1
    first /= first.sum()
    step = np.full((alphabet, alphabet), (1 - stays) / (alphabet - 1))
    np.fill_diagonal(step, stays)
    step[0] = 0.9 * step[0] + 0.1 * np.eye(alphabet)[0]  # one symbol stays a little longer
    symbols = _drawn(rng, first, step)
    found = chain_record(symbols, np.repeat(np.arange(20), 10), alphabet=alphabet)
    return found.low <= likeliest_path(first, step, SYMBOLS) <= found.high


def _drawn(rng: np.random.Generator, first: Array, step: Array) -> Array:
    symbols = np.empty((200, SYMBOLS), np.intp)
    symbols[:, 0] = rng.choice(len(first), 200, p=first)
    edges = np.cumsum(step, axis=1)[:, :-1]
    for i in range(1, SYMBOLS):
        symbols[:, i] = (rng.random((200, 1)) > edges[symbols[:, i - 1]]).sum(axis=1)
    return symbols


CASES = [
    *(
        Case(
            name="independent_record",
            channel=f"shares {'/'.join(f'{s:g}' for s in shares)}, people spread by {spread:g}",
            kind="coverage",
            nominal=0.95,
            run=partial(independent, shares=shares, spread=spread),
        )
        for shares, spread in (
            ((0.7, 0.3), 0.0),
            ((0.7, 0.3), 0.05),
            ((0.6, 0.25, 0.15), 0.0),
            ((0.6, 0.25, 0.15), 0.2),
        )
    ),
    *(
        Case(
            name="chain_record",
            channel=f"{alphabet} symbols, stays with {stays:g}",
            kind="coverage",
            nominal=0.95,
            run=partial(chained, stays=stays, alphabet=alphabet),
        )
        for alphabet, stays in ((2, 0.7), (3, 0.6), (3, 0.9))
    ),
]
