"""Keys that depend on whose they are."""

from __future__ import annotations

import numpy as np
from scipy.stats import binom

from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, own_keys, signs
from harness.detectors.tails import LEVEL, advantage, bits_of, least_rows

__all__ = ["key_subject"]


def key_subject(data: Evidence) -> Detection:
    """Each key bit predicted from what it mostly was in the person's keys before.

    Under the null hits are binomial with 1/2, exactly, whatever the past was. The same key once more does
    not count.
    """
    slug, k = "key-subject", data.key_bits
    rows = own_keys(data)
    order = rows[np.lexsort((data.local[rows], data.session[rows], data.subject[rows]))]
    y, subject = signs(data.keys[order]), data.subject[order]
    before = np.cumsum(y, axis=0) - y
    start = np.concatenate([[True], subject[1:] != subject[:-1]])
    before -= before[np.maximum.accumulate(np.where(start, np.arange(len(y)), 0))]
    guess = np.sign(before)
    tried = (guess != 0).sum(axis=0)
    least = -(-least_rows(k) // 2)  # bits that always agree are rarer than 2^-n, not than 2 exp(-n/2)
    if int(tried.min()) < least:
        reason = f"{least} keys that follow another of the same person could show it, and there are "
        return untested(slug, reason + str(int(tried.min())))
    hits = (guess * y > 0).sum(axis=0)
    most = np.maximum(hits, tried - hits)
    single = 2 * k * binom.sf(most - 1, tried, 0.5)
    total, of = int(hits.sum()), int(tried.sum())
    pooled = 2 * float(binom.sf(max(total, of - total) - 1, of, 0.5))
    p = 2 * min(float(single.min()), pooled)
    told = np.flatnonzero(2 * single <= LEVEL)
    if len(told):
        lean = 2 * most / tried - 1
        lost = float(sum(float(bits_of(advantage(lean[i], int(tried[i]), k))) for i in told))
        share = float((most[told] / tried[told]).max())
        text = f"{named(told)} following the same person's other keys in up to {share:.1%} of cases"
    else:
        text = f"key bits are as in the same person's other keys in {total / of:.1%} of cases"
        lost = k * float(bits_of(advantage(2 * total / of - 1, int(tried.min()), 1)))
    return found(slug, p, text, bits=lost, attempts=len(rows), subjects=data.subjects)
