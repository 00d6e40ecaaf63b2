"""Min-entropy of each person's symbols: the worst person's beside the pooled figure, which hides people."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array
from harness.errors import InsufficientData
from harness.estimators.entropy.non_iid import NonIid, non_iid

__all__ = ["BySubject", "worst_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BySubject:
    """Assessments of people, and of all their symbols together.

    The pooled one is no bound for a person: half of the people at .9 and half at .1 pool to fair bits.
    """

    worst: NonIid
    worst_subject: int
    pooled: NonIid
    values: dict[int, float]  # bits per symbol, by pseudonym

    @property
    def remark(self) -> str:
        """What to keep in mind of the worst of many."""
        return (
            f"The worst of {len(self.values)} is low by chance too: at {self.worst.symbols} symbols even a "
            f"perfect source is assessed at about {self.worst.typical_ceiling:.3g} bits a symbol or less."
        )


def worst_of(symbols: Array, subject: Array, *, alphabet: int | None = None) -> BySubject:
    """Assess every subject's attempts one after another, and all of them pooled.

    Parameters
    ----------
    symbols : (attempts, m) int
        A subject's attempts are joined in the order given, so this should be that of time. What an
        estimator sees across a seam is no property of the source; with m well above the 16 symbols that
        the longest context takes it is little.
    subject : (attempts,) int
        Pseudonyms.
    alphabet : int, optional
        As in `non_iid`; the same for all.

    Raises
    ------
    ValueError
        If shapes do not fit, or as in `non_iid`.
    InsufficientData
        If there is nobody, or a subject has fewer than two symbols.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> ones = rng.random((20, 500)) < np.repeat([0.9, 0.1], 10)[:, None]
    >>> found = worst_of(ones.astype(np.uint8), np.arange(20) // 5)
    >>> pooled = found.pooled.outcomes[0]
    >>> pooled.method, round(pooled.per_symbol, 1), round(found.worst.outcomes[0].per_symbol, 1)
    ('most-common-value', 1.0, 0.1)
    """
    values, who = np.asarray(symbols), np.asarray(subject)
    if values.ndim != 2 or who.shape != values.shape[:1]:
        raise ValueError(
            f"symbols must be (attempts, m) with a subject each, got shapes {values.shape} and {who.shape}"
        )
    if len(values) == 0:
        raise InsufficientData("the worst subject needs at least one subject, got none")
    if alphabet is None and values.size and values.dtype.kind in "iub":
        alphabet = max(2, int(values.max()) + 1)
    people = np.unique(who)
    each = {
        int(p): non_iid(values[who == p].ravel(), alphabet=alphabet, attempts=int((who == p).sum()))
        for p in people
    }
    worst = min(each, key=lambda p: each[p].value)
    together = values[np.argsort(who, kind="stable")].ravel()
    return BySubject(
        worst=each[worst],
        worst_subject=worst,
        pooled=non_iid(together, alphabet=alphabet, attempts=len(values), subjects=len(people)),
        values={p: found.value for p, found in each.items()},
    )
