"""What a view tells about a whole key, by the chain rule.

A sum of single bits errs without limit both ways: one bit repeated counts as often as it is repeated, and a
parity of bits counts for nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.contracts import Array, Estimate
from harness.estimators.leakage.gains import key_information
from harness.estimators.leakage.learned import checked, held_out_gain
from harness.estimators.leakage.learners import LEARNERS, Learner

__all__ = ["chain_information", "chain_surprise"]


def chain_surprise(
    view: Array, key: Array, subject: Array, *, learners: Sequence[Learner] = LEARNERS
) -> Array:
    """Bits of surprise at a whole key: each bit told from the view and the bits before it.

    Parameters
    ----------
    view : (attempts, features) float
    key : (attempts, key_bits) of 0 and 1
    subject : (attempts,) int
    learners : sequence of Learner
        Chosen bit by bit inside the training people, so that the choice is paid for.

    Returns
    -------
    (attempts,) float
        Its mean is at least H(K | view), in expectation, whatever the learners.

    Raises
    ------
    InsufficientData, ValueError
        As `held_out_gain`.
    """
    x, y = checked(view, key, subject)
    total = np.zeros(len(x))
    for i in range(y.shape[1]):
        told = np.column_stack([x, 2.0 * y[:, :i] - 1])
        total -= held_out_gain(told, y[:, i : i + 1], subject, entropy=0.0, learners=learners)[:, 0]
    return total


def chain_information(
    view: Array,
    key: Array,
    subject: Array,
    *,
    entropy: float,
    level: float = 0.95,
    learners: Sequence[Learner] = LEARNERS,
) -> Estimate:
    """Information of a view about a whole key, from below.

    Parameters
    ----------
    view, key, subject, learners
        As `chain_surprise`.
    entropy : float
        Bits that the key holds by design: known, never estimated.
    level : float
        One-sided, of the lower limit.

    Returns
    -------
    Estimate
        Unit "bit", side "attacker-at-least".

    Raises
    ------
    InsufficientData, ValueError
        As `held_out_gain`.
    """
    surprise = chain_surprise(view, key, subject, learners=learners)
    return key_information(surprise, subject, entropy=entropy, level=level)
