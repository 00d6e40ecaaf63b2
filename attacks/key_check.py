"""Parts of the key tried one by one against published check values."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from attacks.potential import PROPOSED
from attacks.reproducing import even
from harness.contracts import Array, Belief, Confirmed, Guesses, Helper, View
from harness.gf2 import all_words

MOST_TRIES = 2**16  # keys put to the checks for each attempt, however many attempts there are
AT_ONCE = 2**15
MOST_LISTED = 4096


@dataclass(frozen=True, slots=True)
class KeyCheck:
    """Tries every value of each part that a check value covers, smallest part first, while affordable.

    Where several values pass, as they do with short check values, all are kept. Parts too large to be tried
    within 2^16 keys an attempt are left as they are: what they would cost grows by the part.
    """

    name: str = "key-check"
    sees: frozenset[str] = frozenset({"helper"})
    potential = PROPOSED["key-check"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses:
        scheme, bits = view.scheme, int(view.scheme.key_bits)
        known: list[tuple[Array, list[Array]]] = []  # places of a part, and per attempt what passed there
        tried = 0
        for check, place in _parts(scheme):
            if tried + 2 ** len(place) > MOST_TRIES:
                break
            tried += 2 ** len(place)
            known.append((place, _passing(scheme, view.helper, view.attempts, check, place)))
        work = float(np.log2(max(1, tried)))
        covered = sum(len(place) for place, _ in known)
        longest = max((math.prod(len(p[i]) for _, p in known) for i in range(view.attempts)), default=1)
        if covered == bits and longest <= MOST_LISTED:
            return Guesses(keys=_combined(known, view.attempts, bits), work=work)
        ones = np.full((view.attempts, bits), 0.5)
        for place, passed in known:
            ones[:, place] = [(p.sum(axis=0) + 1e-12) / (len(p) + 2e-12) for p in passed]
        return Belief(log_prob=np.log(np.stack([1 - ones, ones], axis=2)), about="key", work=work)


def _parts(scheme: object) -> list[tuple[int, Array]]:
    """Checks and the key bits that each covers, the smallest part first."""
    if not isinstance(scheme, Confirmed):
        return []
    segments = np.asarray(scheme.segments)
    parts = [(int(c), np.flatnonzero(segments == c)) for c in np.unique(segments[segments >= 0])]
    return sorted((p for p in parts if len(p[1]) < 32), key=lambda part: len(part[1]))


def _passing(scheme: Confirmed, helper: Helper, attempts: int, check: int, place: Array) -> list[Array]:
    """Per attempt the values (n, bits) of one part that its check value lets pass; all, if none does."""
    values = all_words(len(place))
    passed = np.zeros((attempts, len(values)), bool)
    step = max(1, AT_ONCE // attempts)
    for start in range(0, len(values), step):
        some = values[start : start + step]
        keys = np.zeros((attempts, len(some), len(scheme.segments)), np.uint8)
        keys[:, :, place] = some
        repeated = {name: np.repeat(array, len(some), axis=0) for name, array in helper.items()}
        said = scheme.confirm(keys.reshape(attempts * len(some), -1), repeated)
        passed[:, start : start + step] = np.asarray(said)[:, check].reshape(attempts, len(some))
    return [values[row] if row.any() else values for row in passed]


def _combined(known: list[tuple[Array, list[Array]]], attempts: int, bits: int) -> Array:
    """(attempts, g, key_bits): all keys whose every part passed; shorter lists repeat their last."""
    lists = []
    for i in range(attempts):
        rows = list(itertools.product(*(p[i] for _, p in known)))
        keys = np.zeros((len(rows), bits), np.uint8)
        for part, (place, _) in enumerate(known):
            keys[:, place] = [row[part] for row in rows]
        lists.append(keys)
    return even(lists)
