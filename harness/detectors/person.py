"""Keys that depend on whose they are."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, own_keys, signs
from harness.detectors.tails import TOLD, advantage, bits_of, least_rows, sign_tail

__all__ = ["key_subject"]


def key_subject(data: Evidence) -> Detection:
    """Each key bit predicted from the person's keys before, where another's would predict otherwise.

    A bit that leans alike in everybody's keys leads both predictions astray equally often, so that only
    what is the person's own counts. Under the null the gains are a martingale with steps of at most 1,
    whatever the past was. The same key once more does not count.
    """
    slug, k = "key-subject", data.key_bits
    rows = own_keys(data)
    order = rows[np.lexsort((data.local[rows], data.session[rows], data.subject[rows]))]
    y, person = signs(data.keys[order]), np.unique(data.subject[order], return_inverse=True)[1].ravel()
    tried = np.flatnonzero(np.concatenate([[False], person[1:] == person[:-1]]))
    # two predictions differ in half of all cases at most, and whole keys that stay are to be heard
    need = max(8, -(-4 * least_rows(1) // k))
    if len(tried) < need or person.max(initial=0) < 1:
        reason = f"{need} keys that follow another of the same person, of two people or more, could show it"
        return untested(slug, f"{reason}, and there are {len(tried)}")
    own, other = _predictions(y, person)
    gain = ((own - other) / 2 * y)[tried]  # (tried, key bits)
    n = len(tried)
    z = gain.sum(axis=0, dtype=float) / np.sqrt(n)
    single = sign_tail(z) * k
    pooled = float(sign_tail(float(gain.sum(dtype=float)) / np.sqrt(n * k)))
    p = 2 * min(float(single.min()), pooled)
    told = np.flatnonzero(2 * single <= TOLD)
    lean = np.abs((own * y)[tried].mean(axis=0, dtype=float))
    if len(told):
        lost = float(bits_of(advantage(lean[told], n, k)).sum())
        share = (1 + float(lean[told].max())) / 2
        text = f"{named(told)} following the same person's other keys in up to {share:.1%} of cases"
    else:
        mean = float((own * y)[tried].mean(dtype=float))
        lost = k * float(bits_of(advantage(mean, n, 1)))
        text = f"key bits are as in the same person's other keys in {(1 + mean) / 2:.1%} of cases"
    return found(slug, p, text, bits=lost, attempts=len(rows), subjects=data.subjects)


def _predictions(y: Array, person: Array) -> tuple[Array, Array]:
    """(rows, key_bits) signs that prevailed in as many first keys of the person, and of the next person.

    Rows are in the order of persons. 1 where neither sign prevails.
    """
    start = np.searchsorted(person, np.arange(person.max() + 2))
    summed = np.concatenate([np.zeros((1, y.shape[1])), np.cumsum(y, axis=0, dtype=float)])
    place = np.arange(len(y)) - start[person]
    partner = (person + 1) % (int(person.max()) + 1)
    held = np.minimum(place, start[partner + 1] - start[partner])
    own = summed[start[person] + place] - summed[start[person]]
    other = summed[start[partner] + held] - summed[start[partner]]
    return np.where(own >= 0, 1.0, -1.0), np.where(other >= 0, 1.0, -1.0)
