"""Keys that depend on whose they are, or on when they were made."""

from __future__ import annotations

import numpy as np
from scipy.stats import binom

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, signs
from harness.detectors.tails import LEVEL, advantage, bits_of, least_rows
from harness.detectors.tied import strongest_ties

__all__ = ["in_order", "key_order", "key_subject", "session_rank"]


def session_rank(data: Evidence) -> Array:
    """(attempts,) the how-manieth session of this person it is, from 0."""
    rank = np.empty(data.attempts, int)
    for person in np.unique(data.subject):
        own = data.subject == person
        rank[own] = np.unique(data.session[own], return_inverse=True)[1].ravel()
    return rank


def in_order(data: Evidence) -> Array:
    """Rows by person, session and attempt."""
    return np.lexsort((data.local, data.session, data.subject))


def key_subject(data: Evidence) -> Detection:
    """Each key bit predicted from what it mostly was in the person's keys before.

    Under the null hits are binomial with 1/2, exactly, whatever the past was.
    """
    slug, k = "key-subject", data.key_bits
    order = in_order(data)
    y, subject = signs(data.keys[order]), data.subject[order]
    before = np.cumsum(y, axis=0) - y
    start = np.concatenate([[True], subject[1:] != subject[:-1]])
    before -= before[np.maximum.accumulate(np.where(start, np.arange(len(y)), 0))]
    guess = np.sign(before)
    tried = (guess != 0).sum(axis=0)
    if int(tried.min()) < least_rows(k) // 2:
        need = least_rows(k)
        reason = (
            f"about {need} attempts of people with several could show it, and there are {data.attempts}"
        )
        return untested(slug, reason)
    hits = (guess * y > 0).sum(axis=0)
    single = 2 * k * binom.sf(np.maximum(hits, tried - hits) - 1, tried, 0.5)
    total, of = int(hits.sum()), int(tried.sum())
    pooled = 2 * float(binom.sf(max(total, of - total) - 1, of, 0.5))
    p = 2 * min(float(single.min()), pooled)
    told = np.flatnonzero(2 * single <= LEVEL)
    lean = 2 * hits / tried - 1
    if len(told):
        gain = [float(bits_of(advantage(lean[i], int(tried[i]), k))) for i in told]
        share = np.maximum(hits, tried - hits)[told] / tried[told]
        text = f"{named(told)} follow the same person's other keys in up to {share.max():.3g} of cases"
        lost = float(np.sum(gain))
    else:
        text = f"key bits are as in the same person's other keys in {total / of:.4g} of cases"
        lost = k * float(bits_of(advantage(2 * total / of - 1, of, 1)))
    return found(slug, p, text, bits=lost, attempts=data.attempts, subjects=data.subjects)


def key_order(data: Evidence) -> Detection:
    """Key bits that go with the number of the session or of the attempt, or with a bit of either."""
    slug, k = "key-order", data.key_bits
    numbers: list[Array] = []
    names: list[str] = []
    for name, number in (("session", session_rank(data)), ("attempt", data.local)):
        numbers += [number, *(number >> b & 1 for b in range(int(number.max(initial=0)).bit_length()))]
        names += [f"the number of the {name}"] * (len(numbers) - len(names))
    every = np.stack(numbers, axis=1).astype(float)
    if (np.ptp(every, axis=0) == 0).all():
        return untested(slug, "there is one session of one attempt of each person")
    need = least_rows(every.shape[1] * k)
    if data.attempts < need:
        return untested(slug, f"{need} attempts could show it, and there are {data.attempts}")
    tie = strongest_ties(every, signs(data.keys))
    text = "no key bit goes with the number of the session or of the attempt beyond chance"
    if tie.bits > 0:
        what = " and ".join(dict.fromkeys(names[i] for i in tie.columns))
        text = f"{named(tie.positions)} go with {what}, which tells a bit in up to {tie.hit:.3g} of keys"
    return found(slug, tie.p, text, bits=tie.bits, attempts=data.attempts, subjects=data.subjects)
