"""Keys in the order in which an adversary tries them: really listed, not counted.

Ranks are bounds from rounded costs. Listing the likeliest keys one after another, as an adversary with a
check of the key would, says the same by other means; `agrees` compares the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.ranking import Ranks, merge_blocks

__all__ = ["MOST", "Listed", "agrees", "best_first", "listed"]

MOST = 2**20
_SIZES = (2**8, 2**14, MOST)
"""Lists that are made, one after the other, until one holds the true key."""
_BISECTIONS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """Where the true key stood in a list of the likeliest ones."""

    length: int  # keys that were listed
    fewer: float  # listed keys that are likelier than the true one; inf if it is not among them
    upto: float  # these and its ties, itself included


def best_first(costs: Sequence[Array], count: int) -> tuple[Array, Array]:
    """The cheapest combinations of one candidate per block, cheapest first.

    Parameters
    ----------
    costs : sequence of (candidates,) float
        At least 0 or any number; inf = impossible. Sums are exact if costs are on `ranking.GRID`.
    count : int
        How many at most.

    Returns
    -------
    total : (n,) float
        Ascending, finite; n < count where there are no more. Of equal ones any may stand first, and at the
        end of the list some may be missing.
    choice : (n, blocks) int
        The candidate of each block.

    Notes
    -----
    The best combinations of some blocks start with the best of fewer blocks: as many are kept as are asked
    for, and each block joins them by a search for the cost below which enough sums lie.

    Examples
    --------
    >>> total, choice = best_first([np.array([0.0, 3.0]), np.array([1.0, 0.0, 5.0])], 3)
    >>> total.tolist(), choice.tolist()
    ([0.0, 1.0, 3.0], [[0, 1], [0, 0], [1, 1]])
    """
    total = np.zeros(1)
    choices: list[Array] = []
    for cost in costs:
        order = np.argsort(cost, kind="stable")
        order = order[np.isfinite(cost[order])]
        total, parent, place = _cheapest(total, cost[order], count)
        choices = [c[parent] for c in choices]
        choices.append(order[place].astype(np.int32))
    return total, np.stack(choices, axis=1)


def _cheapest(some: Array, more: Array, count: int) -> tuple[Array, Array, Array]:
    """The cheapest sums of two ascending lists, and where each came from."""
    limit = _threshold(some, more, count)
    reach = np.searchsorted(some, limit - more, side="right")
    # rounding of limit - more may lose a sum that is exactly at the limit
    while (more_reach := np.minimum(reach + 1, len(some))).any():
        wider = (reach < len(some)) & (some[more_reach - 1] + more <= limit)
        if not wider.any():
            break
        reach = reach + wider
    place = np.repeat(np.arange(len(more)), reach)
    parent = np.arange(len(place)) - np.repeat(np.cumsum(reach) - reach, reach)
    total = some[parent] + more[place]
    order = np.argsort(total, kind="stable")[:count]
    return total[order], parent[order], place[order]


def _threshold(some: Array, more: Array, count: int) -> float:
    """A cost that at least `count` sums do not exceed, and hardly more; all, if there are fewer."""
    if len(some) * len(more) <= count:
        return float(some[-1] + more[-1]) if len(some) and len(more) else 0.0
    low, high = float(some[0] + more[0]), float(some[-1] + more[-1])
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        if int(np.searchsorted(some, middle - more, side="right").sum()) >= count:
            high = middle
        else:
            low = middle
        if high - low < 1e-9 * (1 + abs(high)):
            break
    return high


def listed(costs: Sequence[Array], true: Array) -> Listed:
    """List the likeliest keys, up to 2^20, until the true one is among them.

    Parameters
    ----------
    costs : sequence of (candidates,) float
        Of one attempt.
    true : (blocks,) int
        The candidate of each block that is true; it is looked up in the list, not used to make it.

    Returns
    -------
    Listed
    """
    found = Listed(length=0, fewer=np.inf, upto=np.inf)
    for size in _SIZES:
        total, choice = best_first(costs, size)
        hit = np.flatnonzero((choice == true).all(axis=1))
        found = Listed(length=len(total), fewer=np.inf, upto=np.inf)
        if len(hit):
            mine = total[hit[0]]
            complete = len(total) < size or total[-1] > mine  # ties may go on beyond the list
            if complete or size == MOST:
                fewer = float((total < mine).sum())
                return Listed(length=len(total), fewer=fewer, upto=float((total <= mine).sum()))
        if len(total) < size:
            break
    return found


def agrees(found: Listed, ranks: Ranks, row: int) -> bool:
    """Whether a list says what the bounds of the rank say.

    A key that is not listed must have at least as many before it, ties included, as were listed.
    """
    if np.isinf(found.fewer):
        return bool(ranks.upto_high[row] >= found.length)
    inside = ranks.fewer_low[row] <= found.fewer <= ranks.fewer_high[row]
    if found.upto == found.length:  # the list ends within the ties
        return bool(inside and ranks.upto_high[row] >= found.upto)
    return bool(inside and ranks.upto_low[row] <= found.upto <= ranks.upto_high[row])


def few_blocks(costs: Sequence[Array], true: Array) -> tuple[list[Array], Array]:
    """One attempt's blocks, neighbours joined while their candidates stay few."""
    merged, index = merge_blocks([c[None] for c in costs], true[None])
    return [c[0] for c in merged], index[0]
