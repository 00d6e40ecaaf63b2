"""What a real-valued view tells about secret bits, by learners that never saw who they are tested on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.leakage.gains import symbol_information
from harness.estimators.leakage.learners import LEARNERS, Learner, chosen, folds_of, surprise_of

__all__ = ["checked", "held_out_gain", "learned_information"]

FOLDS = 5


def held_out_gain(
    view: Array,
    bits: Array,
    subject: Array,
    *,
    entropy: float = 1.0,
    learners: Sequence[Learner] = LEARNERS,
) -> Array:
    """Bits that a learned model of the view saves over the entropy that each bit has by design.

    Parameters
    ----------
    view : (attempts, features) float
    bits : (attempts, bits) of 0 and 1
    subject : (attempts,) int
        Grouped: nobody is told by a model that learned from them. Ungrouped, a view that only knows the
        person shows a leak where there is none.
    entropy : float
        Of one bit by design, given what is public anyway.
    learners : sequence of Learner
        The choice between several is made inside the training people, bit by bit.

    Returns
    -------
    (attempts, bits) float
        Raw: below 0 where the model misleads. Its mean is at most the mutual information, in expectation.

    Raises
    ------
    InsufficientData
        If there are fewer than two subjects.
    ValueError
        If the view is not finite, bits are not 0 or 1, or shapes differ.
    """
    x, y = checked(view, bits, subject)
    fold = folds_of(subject, FOLDS)
    gain = np.empty(y.shape)
    for part in np.unique(fold):
        out = fold == part
        train = ~out
        alone = len(np.unique(subject[train])) < 2  # nobody to choose on
        best = [0] * y.shape[1] if alone else chosen(x[train], y[train], subject[train], learners)
        for i in sorted(set(best)):
            mine = np.flatnonzero(np.array(best) == i)
            told = learners[i](x[train], y[np.ix_(train, mine)], x[out])
            gain[np.ix_(out, mine)] = entropy - surprise_of(told, y[np.ix_(out, mine)])
    return gain


def learned_information(
    view: Array,
    bits: Array,
    subject: Array,
    *,
    entropy: float = 1.0,
    level: float = 0.95,
    learners: Sequence[Learner] = LEARNERS,
) -> Estimate:
    """Mean information of a real-valued view about a bit, from below.

    Parameters
    ----------
    view, bits, subject, entropy, learners
        As `held_out_gain`.
    level : float
        One-sided, of the lower limit.

    Returns
    -------
    Estimate
        Unit "bit/symbol", side "attacker-at-least". No distribution-free upper limit exists; `planted` says
        how much could have stayed unseen. A sum over bits is no bound of the whole key: see `chain`.

    Raises
    ------
    InsufficientData, ValueError
        As `held_out_gain`.
    """
    gain = held_out_gain(view, bits, subject, entropy=entropy, learners=learners)
    return symbol_information(gain.mean(axis=1), subject, level=level)


def checked(view: Array, bits: Array, subject: Array) -> tuple[Array, Array]:
    """View and bits as tables of one length that can be learned from; raises as `held_out_gain`."""
    x, y = np.asarray(view, float), np.asarray(bits)
    if x.ndim != 2 or y.ndim != 2 or not len(x) == len(y) == len(subject):
        shapes = f"{x.shape}, {y.shape} and {len(subject)}"
        raise ValueError(f"`view`, `bits` and `subject` must be of one length, got {shapes}")
    people = len(np.unique(subject))
    if people < 2:
        raise InsufficientData(f"learning from other people needs at least two subjects, got {people}")
    if not np.isfinite(x).all():
        raise ValueError(f"`view` must be finite, got {int((~np.isfinite(x)).sum())} values that are not")
    if not ((y == 0) | (y == 1)).all():
        raise ValueError("`bits` must be 0 or 1 throughout")
    return x, y.astype(np.int64)
