"""From a belief to ranks where a scheme discloses nothing: witnesses tried on the attacker's copy of it."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np

from harness import validate
from harness.contracts import Array, Belief, Helper, Witness, frozen
from harness.exchange import call, parts
from harness.listed_sets import believed_sets
from harness.listing_rows import listed_places
from harness.optional_parts import Listing, Sharpening
from harness.ranking import Ranks

__all__ = ["BEST_FIRST", "by_best_first", "likeliest"]

BEST_FIRST = 64  # witnesses tried through `reproduce`, of each way to choose them


def by_best_first(log_prob: Array, scheme: Any, helper: Helper, keys: Array) -> tuple[Ranks, str]:
    """Try the likeliest witnesses; first those that a scheme's own reading of its helper data gives.

    Features that a scheme lists are tried in sets: the likeliest witness is often one without any.
    """
    tried, alphabet = likeliest(log_prob, BEST_FIRST), log_prob.shape[2]
    method = f"best-first-{BEST_FIRST}"
    name = str(scheme.name)
    if isinstance(scheme, Sharpening):
        told = call(name, "sharpen()", copy.deepcopy(scheme).sharpen, frozen(log_prob), helper)
        sharper = validate.belief(name, Belief(log_prob=told), *log_prob.shape)
        tried = np.concatenate([likeliest(sharper.log_prob, BEST_FIRST), tried], axis=1)
        method = f"sharpened-{method}"
    if isinstance(scheme, Listing) and alphabet == 2:
        needed, places = listed_places(scheme, helper, log_prob.shape[1], len(log_prob))
        sets = believed_sets(log_prob, places, needed=needed, count=BEST_FIRST)
        tried, method = np.concatenate([sets, tried], axis=1), f"listed-{method}"
    return _by_reproducing(tried, alphabet, scheme, helper, keys), method


def _by_reproducing(witnesses: Array, alphabet: int, scheme: Any, helper: Helper, keys: Array) -> Ranks:
    """Try witnesses (rows, n, m), best first, on the attacker's copy of the scheme.

    Beyond the witnesses tried nothing is known: the rank has no upper bound there.
    """
    rows, tried, _ = witnesses.shape
    flat = Witness(
        symbols=witnesses.reshape(rows * tried, -1), alphabet=alphabet, acquired=np.ones(rows * tried, bool)
    )
    repeated = {k: np.repeat(v, tried, axis=0) for k, v in helper.items()}
    own = copy.deepcopy(scheme)
    found = call(scheme.name, "reproduce()", own.reproduce, flat, repeated)
    answer, accepted = parts(scheme.name, "reproduce()", found, 2)
    guessed = validate.key_bits(scheme.name, "keys of B", answer, rows * tried, keys.shape[1])
    guessed = guessed.reshape(rows, tried, -1)
    kept = validate.accepted_flags(scheme.name, accepted, rows * tried).reshape(rows, tried)
    equal = (guessed == keys[:, None, :]).all(axis=2) & kept
    packed = np.packbits(guessed, axis=2)
    fewer = np.empty(rows)
    for row in range(rows):  # the same key twice is one guess, and what the copy rejects is none
        _, first = np.unique(packed[row][kept[row]], axis=0, return_index=True)
        before = np.sort(np.flatnonzero(kept[row])[first])
        fewer[row] = np.searchsorted(before, equal[row].argmax()) if equal[row].any() else len(before)
    hit = equal.any(axis=1)
    return Ranks(
        fewer_low=fewer,
        fewer_high=np.where(hit, fewer, np.inf),
        upto_low=fewer + 1,
        upto_high=np.where(hit, fewer + 1, np.inf),
        surprise=np.full(rows, np.nan),
    )


def likeliest(log_prob: Array, count: int) -> Array:
    """The `count` likeliest symbol strings of each row, best first, (rows, count, m) uint8.

    Exact for independent symbols: the best strings of a prefix are all that the best
    strings of a longer one can start with.
    """
    rows, m, alphabet = log_prob.shape
    score = np.zeros((rows, 1))
    strings = np.zeros((rows, 1, 0), np.uint8)
    for position in range(m):
        total = (score[:, :, None] + log_prob[:, position, None, :]).reshape(rows, -1)
        keep = np.argsort(-total, axis=1, kind="stable")[:, :count]
        score = np.take_along_axis(total, keep, axis=1)
        parent, symbol = np.divmod(keep, alphabet)
        prefix = np.take_along_axis(strings, parent[:, :, None], axis=1)
        strings = np.concatenate([prefix, symbol[:, :, None].astype(np.uint8)], axis=2)
    return strings
