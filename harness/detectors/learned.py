"""A learned map from helper data to key bits, judged on people it has not seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, own_keys, signs
from harness.detectors.helper_bits import Column, first_elements, helper_bits, helper_numbers
from harness.detectors.people import by_person, hit_tail, worth
from harness.detectors.tails import TOLD, advantage, bits_of, least_rows
from harness.streams import stream

__all__ = ["GROUPS", "learned_map"]

GROUPS = 4
"""Each group of people is predicted from those before it, so that hits stay independent under the null."""
_BINS = 8
_TOGETHER = ("all helper data together", "the one helper bit or number that seemed best for each")
_MOST = 2048  # numbers that are looked up one by one, and bits that the linear map reads


def learned_map(data: Evidence, *, seed: int) -> Detection:
    """Hits of three learners on other people's key bits.

    A linear map of all helper data; for each key bit the single number that seemed best; and each number as
    a category.

    Predictions are signs, learned from people before, so that under the null hits are binomial with 1/2,
    exactly: for each bit, and over all bits of the key. Where people differ in how often guesses hit, fewer
    cases count.
    """
    slug, k = "helper-learned", data.key_bits
    if not data.helper:
        return untested(slug, "the scheme publishes no helper data")
    rows = own_keys(data)
    helper, left_out = first_elements({name: array[rows] for name, array in data.helper.items()})
    bits, _ = helper_bits(helper)
    numbers, columns = helper_numbers(helper)
    if bits.shape[1] == 0:
        return untested(slug, "no helper array varies")
    people = np.unique(data.subject[rows])
    looks = (min(numbers.shape[1], _MOST) + len(_TOGETHER)) * k
    need = -(-least_rows(looks) * GROUPS // (GROUPS - 1))
    if len(people) < GROUPS or len(rows) < need:
        reason = (
            f"{GROUPS} people with {need} keys could show it, and there are {len(people)} with {len(rows)}"
        )
        return untested(slug, reason)
    shuffled = stream(seed, "detectors", "learned").permutation(people)
    group = np.empty(len(rows), int)
    for i, part in enumerate(np.array_split(shuffled, GROUPS)):
        group[np.isin(data.subject[rows], part)] = i
    judged = _judged(slug, data, rows, group, bits, numbers[:, :_MOST], columns)
    return replace(judged, text=judged.text + left_out)


def _judged(
    slug: str,
    data: Evidence,
    rows: Array,
    group: Array,
    bits: Array,
    numbers: Array,
    columns: list[Column],
) -> Detection:
    key_signs, subject = signs(data.keys[rows]), data.subject[rows]
    k, tried = data.key_bits, group > 0
    all_features = np.concatenate([bits[:, :_MOST], _ranks(numbers)], axis=1)
    learners = [(learner, all_features) for learner in (_linear, _best_single)]
    learners += [(_by_category, column) for column in _categories(numbers)]
    share, tail, pooled = [], [], []
    for learner, x in learners:
        right = _progressive(learner, x, key_signs, group)[tried]
        total, count = by_person(right, subject[tried])
        share.append((1 + right.mean(axis=0)) / 2)
        tail.append(hit_tail(share[-1], worth(total, count)) * len(learners) * k)
        whole = worth(total.sum(axis=1, keepdims=True), count * k)
        pooled.append(float(hit_tail(share[-1].mean(), whole)[0]) * len(learners))
    p = 2 * min(float(np.min(tail)), min(pooled))
    best = int(np.minimum(np.min(tail, axis=1), pooled).argmin())
    who = _TOGETHER[best] if best < len(_TOGETHER) else str(columns[best - len(_TOGETHER)])
    told = np.flatnonzero(2 * tail[best] <= TOLD)
    n = int(tried.sum())
    if len(told):
        gain = advantage(2 * np.maximum(share[best][told], 0.5) - 1, n, len(learners) * k)
        lost = float(bits_of(gain).sum())
        most = share[best][told].max()
        text = f"{named(told)} predicted from {who} in up to {most:.1%} of other people's keys"
    else:
        mean = float(share[best].mean())
        lost = k * float(bits_of(advantage(max(2 * mean - 1, 0.0), n, len(learners))))
        text = f"key bits are predicted from {who} in {mean:.1%} of cases, where half is chance"
    return found(slug, p, text, bits=lost, attempts=n, subjects=data.subjects)


def _progressive(
    learner: Callable[[Array, Array, Array], Array], x: Array, key_signs: Array, group: Array
) -> Array:
    """(attempts, key_bits) 1 for a hit, -1 for a miss, 0 in the first group; a guess of nothing is 1."""
    right = np.zeros(key_signs.shape)
    for test in range(1, GROUPS):
        seen, unseen = group < test, group == test
        guess = learner(x[seen], key_signs[seen], x[unseen])
        right[unseen] = np.where(guess >= 0, 1.0, -1.0) * key_signs[unseen]
    return right


def _linear(x: Array, y: Array, new: Array) -> Array:
    """Ridge regression of all key bits at once, in its dual form."""
    middle, spread = x.mean(axis=0), x.std(axis=0)
    varies = spread > 1e-9
    x, new = ((z[:, varies] - middle[varies]) / spread[varies] for z in (x, new))
    gram = x @ x.T
    weight = np.linalg.solve(gram + (np.trace(gram) / len(x) + 1e-9) * np.eye(len(x)), y - y.mean(axis=0))
    return np.asarray(new @ (x.T @ weight))


def _best_single(x: Array, y: Array, new: Array) -> Array:
    """For each key bit the one number that went with it most."""
    middle, spread = x.mean(axis=0), np.maximum(x.std(axis=0), 1e-9)
    weight = ((x - middle) / spread).T @ y
    at = np.abs(weight).argmax(axis=0)
    return np.asarray((new[:, at] - middle[at]) * weight[at, np.arange(y.shape[1])])


def _by_category(x: Array, y: Array, new: Array) -> Array:
    """What the key bits were where the number was the same."""
    size = int(max(x.max(), new.max())) + 1
    table = csr_array((np.ones(len(x), np.float32), (x, np.arange(len(x)))), shape=(size, len(x))) @ y
    return np.asarray(table[new])


def _ranks(numbers: Array) -> Array:
    return np.asarray(numbers.argsort(axis=0, kind="stable").argsort(axis=0, kind="stable") / len(numbers))


def _categories(numbers: Array) -> list[Array]:
    """Each number as a category: its value where few occur, else its eighth."""
    found = []
    for column in numbers.T:
        values, index = np.unique(column, return_inverse=True)
        index = index.ravel()
        if len(values) > 256:
            index = index * _BINS // len(values)
        found.append(index)
    return found
