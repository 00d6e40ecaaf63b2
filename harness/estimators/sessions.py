"""The chance of any success over many sessions, each with a key of its own."""

from __future__ import annotations

import numpy as np

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


def any_success(chance: Array, subject: Array, *, sessions: int) -> Array:
    """Each person's chance that some of `sessions` attempts, drawn without repeats from theirs, succeeds.

    Unbiased for the chance over that many sessions of a person, where raising the observed rate to a power
    is not: that is too much, since what is seen varies more than people do. Fewer attempts than sessions:
    over as many as there are, which is less.

    Parameters
    ----------
    chance : (attempts,) float
        Of success; 0 and 1 where it is known.
    subject : (attempts,) int
    sessions : int

    Returns
    -------
    (people,) float
        In the order of ``numpy.unique(subject)``.

    Examples
    --------
    >>> any_success(np.array([1.0, 0.0, 0.0, 0.0]), np.zeros(4, int), sessions=2)
    array([0.5])
    """
    _, index, made = np.unique(subject, return_inverse=True, return_counts=True)
    order = np.argsort(index, kind="stable")
    place = np.arange(len(order)) - np.repeat(np.cumsum(made) - made, made)
    fails = np.ones((len(made), int(made.max())))
    fails[index[order], place] = 1.0 - chance[order]
    drawn = min(sessions, fails.shape[1])
    j = np.arange(1, drawn + 1)
    # mean over all sets of j attempts of the chance that all of them fail, one attempt after the other
    none = np.zeros((len(made), drawn + 1))
    none[:, 0] = 1.0
    for n in range(1, fails.shape[1] + 1):
        there = np.minimum(j / n, 1.0)
        step = (1 - there) * none[:, 1:] + there * fails[:, n - 1, None] * none[:, :-1]
        none[:, 1:] = np.where((made >= n)[:, None], step, none[:, 1:])
    found = none[np.arange(len(made)), np.minimum(drawn, made)]
    return np.asarray(np.clip(1.0 - found, 0.0, 1.0))


def odds_over_sessions(
    hits: Array,
    subject: Array,
    *,
    odds: Estimate,
    sessions: int,
    attacker: Array | None = None,
    level: float = 0.9,
) -> Estimate:
    """Chance that an adversary gets at least one of the keys of so many sessions, averaged over people.

    Parameters
    ----------
    hits : (attempts,) float
        Chance of success of each attempt.
    subject : (attempts,) int
    odds : Estimate
        Of one session, from the same attempts.
    sessions : int
    attacker : (attempts,) int, optional
        Person behind the adversary's capture; -1 = nobody.
    level : float
        Two-sided.

    Returns
    -------
    Estimate
        Unit "probability", side "attacker-at-least", method "sessions-T". Value: people's mean of
        `any_success`, which is too little where people have fewer attempts than sessions. Low: of that
        mean, by betting, nothing assumed but that people are independent; where attackers are people they
        are not, and it is the lower end of the odds of one session. High: from the upper end of the odds
        as if all people were alike.

    Raises
    ------
    InsufficientData
        If there is no attempt.
    """
    if len(hits) == 0:
        raise InsufficientData("odds over sessions need at least one attempt, got none")
    each = any_success(hits, subject, sessions=sessions)
    value = float(each.mean())
    shared = attacker is not None and bool((attacker >= 0).any())
    low = odds.low if shared else bounded_mean(each, level=level)[0]
    return Estimate(
        value=value,
        low=min(low, value),
        high=max(most_over_sessions(min(odds.high, 1.0), sessions), value),
        level=level,
        unit="probability",
        side="attacker-at-least",
        evidence=odds.evidence,
        subjects=len(each),
        attempts=len(hits),
        method=f"sessions-{sessions}",
    )
