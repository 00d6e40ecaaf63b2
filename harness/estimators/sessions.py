"""The chance of any success over many sessions, each with a key of its own."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.bounded_mean import bounded_mean

__all__ = ["any_success", "most_over_sessions", "odds_over_sessions"]


def most_over_sessions(odds: float, sessions: int) -> float:
    """The most that odds averaged over people can come to over so many fresh keys.

    Sessions are independent given the person. People who differ make it less: success then returns to the
    same people (Jensen).

    Raises
    ------
    ValueError
        If `odds` is no probability or there is no session.

    Examples
    --------
    >>> round(most_over_sessions(0.401, 10), 3)
    0.994
    """
    if not 0 <= odds <= 1 or sessions < 1:
        raise ValueError(f"odds must lie in 0..1 and sessions be at least 1, got {odds} and {sessions}")
    return float(-np.expm1(sessions * np.log1p(-odds))) if odds < 1 else 1.0


def any_success(hits: int, attempts: int, sessions: int) -> float:
    """Chance that some of `sessions` attempts, drawn without repeats from those made, succeeds.

    Unbiased for the chance over that many sessions of this person, where raising the observed rate to a
    power is not. Fewer attempts than sessions: over as many as there are, which is less.

    Examples
    --------
    >>> round(any_success(1, 4, 2), 9)
    0.5
    """
    drawn = min(sessions, attempts)
    if attempts - hits < drawn:
        return 1.0
    logs = gammaln(
        np.array([attempts - hits + 1, attempts - hits - drawn + 1, attempts + 1, attempts - drawn + 1])
    )
    return float(np.clip(1 - np.exp(logs[0] - logs[1] - logs[2] + logs[3]), 0, 1))


def odds_over_sessions(
    hits: Array, subject: Array, *, odds: Estimate, sessions: int, level: float = 0.9
) -> Estimate:
    """Chance that an adversary gets at least one of the keys of so many sessions.

    Parameters
    ----------
    hits : (attempts,) float
        Chance of success of each attempt; one of a half or more counts as a success.
    subject : (attempts,) int
    odds : Estimate
        Of one session, from the same attempts.
    sessions : int
    level : float
        Two-sided.

    Returns
    -------
    Estimate
        Unit "probability", side "attacker-at-least", method "sessions-T". Value: people's means of
        `any_success`, which is too little where people have fewer attempts than sessions. Low: of that
        mean, by betting, nothing assumed. High: from the upper end of the odds as if all people were alike.

    Raises
    ------
    InsufficientData
        If there is no attempt.
    """
    if len(hits) == 0:
        raise InsufficientData("odds over sessions need at least one attempt, got none")
    people, index = np.unique(subject, return_inverse=True)
    won = np.bincount(index, hits >= 0.5)
    made = np.bincount(index)
    each = np.array([any_success(int(h), int(n), sessions) for h, n in zip(won, made, strict=True)])
    value = float(each.mean())
    return Estimate(
        value=value,
        low=min(bounded_mean(each, level=level)[0], value),
        high=max(most_over_sessions(min(odds.high, 1.0), sessions), value),
        level=level,
        unit="probability",
        side="attacker-at-least",
        evidence=odds.evidence,
        subjects=len(people),
        attempts=len(hits),
        method=f"sessions-{sessions}",
    )
