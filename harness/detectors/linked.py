"""Helper data of one person that are more alike than those of two: they tell the person, not the key."""

from __future__ import annotations

import numpy as np

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence
from harness.detectors.order import session_rank
from harness.detectors.tails import LEVEL, TOLD
from harness.errors import InsufficientData
from harness.estimators.linkage import linkage_p_value
from harness.likeness import array_likeness
from harness.streams import stream

__all__ = ["LEAST_PEOPLE", "helper_linkage"]

_REPETITIONS = 2 * round(1 / LEVEL) - 1
LEAST_PEOPLE = 8
"""Of fewer people, too few deals of sessions exist for any to be rarer than the level: 7! < 10^4 < 8!."""
_ROWS = 240  # attempts of either session at most: every pair is a score


def helper_linkage(data: Evidence, *, seed: int) -> Detection:
    """First sessions against later ones, second sessions being dealt out anew among people."""
    slug = "helper-linkage"
    if not data.helper:
        return untested(slug, "the scheme publishes no helper data")
    first, second = _halves(data)
    people = len(np.unique(data.subject[first]))
    if people < LEAST_PEOPLE:
        return untested(slug, f"{LEAST_PEOPLE} people with keys in two sessions are needed, got {people}")
    score = array_likeness(data.helper, first, second)
    one, other = np.broadcast_arrays(data.subject[first][:, None], data.subject[second][None, :])
    rng = stream(seed, "detectors", "linkage")
    try:
        p = linkage_p_value(
            score.ravel(), one.ravel(), other.ravel(), rng=rng, repetitions=_REPETITIONS
        ).value
    except InsufficientData as error:
        return untested(slug, str(error))
    alike = "more alike" if p <= TOLD else "no more alike beyond chance"
    text = f"helper data of one person's sessions are {alike} than those of two people"
    return found(slug, p, text, bits=0.0, attempts=len(first) + len(second), subjects=people)


def _halves(data: Evidence) -> tuple[Array, Array]:
    """Attempts of the first session and of later ones, of people who have both."""
    later = session_rank(data) > 0
    both = np.intersect1d(data.subject[later], data.subject[~later])
    most = max(1, _ROWS // max(1, len(both)))
    sides = []
    for side in (~later, later):
        rows = [np.flatnonzero(side & (data.subject == person))[:most] for person in both[:_ROWS]]
        sides.append(np.concatenate([np.zeros(0, np.intp), *rows]))
    return sides[0], sides[1]
