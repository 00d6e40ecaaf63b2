"""Maurer's bounds on the secret-key rate from people's symbols: of A, of B, and what the adversary took
from its view.

Everything is computed within a person, from counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from harness.contracts import Array, Estimate
from harness.errors import InsufficientData
from harness.estimators.extremes import at_least_0, greatest_mean, least_mean, mean_ends
from harness.estimators.keyrate import informations, rate_estimate

__all__ = ["SYMBOLS_PER_CELL", "KeyRateEstimates", "checked_symbols", "estimated_key_rate"]

SYMBOLS_PER_CELL = 8
"""A person's symbols for each cell of their table, below which the table says too little."""

_LARGEST_TABLE = 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyRateEstimates:
    """What people's symbols say of the key rate, each in bits per symbol, and each person's lower bound.

    Attributes
    ----------
    people : (people,) int
        Those with enough symbols and attempts.
    lower_by_person : (people,) float
        Their mean is ``lower.value``.
    left_out : int
        People with too few of either.
    """

    i_ab: Estimate
    i_ae: Estimate
    i_be: Estimate
    i_ab_given_e: Estimate
    lower: Estimate
    upper: Estimate
    people: Array
    lower_by_person: Array
    left_out: int


def estimated_key_rate(
    a: Array,
    b: Array,
    e: Array,
    subject: Array,
    *,
    alphabet: int,
    views: int,
    attempt: Array | None = None,
    level: float = 0.95,
) -> KeyRateEstimates:
    """Mutual informations and Maurer's bounds from symbols, within each person and averaged over people.

    The adversary is taken to know whom it attacks, so what people's habits tell counts for nobody: every
    figure is computed within a person. Tables of few symbols say too much; the bias is removed by leaving
    out each of a person's attempts in turn (jackknife), which allows symbols of one attempt to depend on
    one another.

    Parameters
    ----------
    a, b : (rows, m) int, below `alphabet`
        Symbols of the two devices.
    e : (rows, m) int, below `views`
        What the adversary holds of each symbol, such as its likeliest symbol: any function of its view.
    subject : (rows,) int
    alphabet, views : int
    attempt : (rows,) int, optional
        Rows of one attempt (several attackers on it) are left out together; every row its own by default.
    level : float
        Two-sided; Student's t on people's values.

    Returns
    -------
    KeyRateEstimates
        ``i_ae`` and ``i_be`` are "attacker-at-least": a finer function of its view, or a better view, says
        no less. ``lower`` is "defender-at-most" for what Maurer's theorem guarantees: a better adversary
        lowers it, so it guarantees nothing by itself. ``upper`` is "defender-at-most" for the secret-key
        rate itself, whatever else the adversary has. The ends of the two bounds hold for the better of two
        directions (the lesser of two informations), by Bonferroni where both must hold. With one person
        all ends are open.

    Raises
    ------
    ValueError
        If shapes differ, or symbols are no whole numbers within their alphabets.
    InsufficientData
        If nobody has two attempts and `SYMBOLS_PER_CELL` symbols for each cell; carries the lower bound
        without correction.

    Notes
    -----
    Positions of an attempt are taken as alike. Symbols that depend on one another carry less together than
    the sum of these figures over symbols.

    References
    ----------
    Maurer (1993), as in `key_rate`. Quenouille's jackknife: Efron and Stein, Ann. Stat. 9 (1981) 586–596
    (from memory).
    """
    if alphabet < 2 or views < 1:
        raise ValueError(
            f"`alphabet` must be at least 2 and `views` at least 1, got {alphabet} and {views}"
        )
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie strictly between 0 and 1, got {level}")
    shape = (len(subject), *np.shape(a)[1:])
    a, b = (checked_symbols(x, name=n, alphabet=alphabet, shape=shape) for n, x in (("a", a), ("b", b)))
    e = checked_symbols(e, name="e", alphabet=views, shape=shape)
    unit = np.arange(len(subject)) if attempt is None else np.asarray(attempt)
    if len(unit) != len(subject):
        raise ValueError(f"`attempt` must have an entry for each of {len(subject)} rows, got {len(unit)}")
    cells = alphabet * alphabet * views
    code = (a.astype(np.intp) * alphabet + b) * views + e
    people = np.unique(subject)
    values, kept, rows = [], [], 0
    for person in people.tolist():
        mine = np.flatnonzero(subject == person)
        if code[mine].size < SYMBOLS_PER_CELL * cells:
            continue
        _, own = np.unique(unit[mine], return_inverse=True)
        if own.max() == 0:
            continue
        flat = own[:, None] * cells + code[mine]
        counts = np.bincount(flat.ravel(), minlength=(own.max() + 1) * cells)
        values.append(_jackknifed(counts.reshape(-1, alphabet, alphabet, views).astype(float)))
        kept.append(person)
        rows += len(mine)
    if not values:
        raise InsufficientData(
            f"a key rate needs a person with two attempts and {SYMBOLS_PER_CELL * cells} symbols "
            f"({SYMBOLS_PER_CELL} for each of {cells} cells), got {len(people)} people with up to "
            f"{_most_symbols(code, subject)}",
            partial=_uncorrected(code, alphabet, views, level, len(people)),
        )
    by_person = np.array(values)
    i_ab, i_ae, i_be, conditional = by_person.T
    direction = i_ab[:, None] - by_person[:, 1:3]
    make = partial(rate_estimate, level=level, subjects=len(kept), attempts=rows)
    tail = (1 - level) / 2
    single = partial(mean_ends, below=tail, above=tail)
    upper = least_mean(np.stack([i_ab, conditional], axis=1), level=level)
    return KeyRateEstimates(
        i_ab=make(at_least_0(single(i_ab)), side="estimate", method="i-ab"),
        i_ae=make(at_least_0(single(i_ae)), side="attacker-at-least", method="i-ae"),
        i_be=make(at_least_0(single(i_be)), side="attacker-at-least", method="i-be"),
        i_ab_given_e=make(at_least_0(single(conditional)), side="estimate", method="i-ab-given-e"),
        lower=make(greatest_mean(direction, level=level), side="defender-at-most", method="maurer-lower"),
        upper=make(at_least_0(upper), side="defender-at-most", method="maurer-upper"),
        people=np.array(kept),
        lower_by_person=direction[:, int(direction.mean(axis=0).argmax())],
        left_out=len(people) - len(kept),
    )


def _jackknifed(counts: Array) -> Array:
    """(attempts, A, B, E) counts of one person -> (4,) informations without their bias of first order."""
    total = counts.sum(axis=0)
    without = total - counts
    n = len(counts)
    return np.asarray(n * informations(total) - (n - 1) * informations(without).mean(axis=0))


def checked_symbols(symbols: Array, *, name: str, alphabet: int, shape: tuple[int, ...]) -> Array:
    """The symbols, if they are whole numbers from 0 below `alphabet` in an array of this shape.

    Raises
    ------
    ValueError
        Says what was found.
    """
    found = np.asarray(symbols)
    if len(shape) != 2 or found.shape != shape:
        raise ValueError(f"`{name}` must be of shape (rows, m), all alike, got {found.shape} and {shape}")
    if found.dtype.kind not in "bui":
        raise ValueError(f"`{name}` must hold whole numbers, got {found.dtype}")
    if found.size and not (found.min() >= 0 and found.max() < alphabet):
        raise ValueError(
            f"`{name}` must hold symbols from 0 to {alphabet - 1}, got {found.min()} to {found.max()}"
        )
    return found


def _most_symbols(code: Array, subject: Array) -> int:
    return int(np.unique(subject, return_counts=True)[1].max()) * code.shape[1] if code.size else 0


def _uncorrected(code: Array, alphabet: int, views: int, level: float, people: int) -> Estimate | None:
    """The lower bound with all people in one table: few symbols say too much there, and habits count."""
    if code.size == 0 or alphabet * alphabet * views > _LARGEST_TABLE:
        return None
    counts = np.bincount(code.ravel(), minlength=alphabet * alphabet * views).astype(float)
    i_ab, i_ae, i_be, _ = informations(counts.reshape(alphabet, alphabet, views)).tolist()
    return rate_estimate(
        (i_ab - min(i_ae, i_be), float("nan"), float("nan")),
        side="defender-at-most",
        method="maurer-lower-uncorrected",
        level=level,
        subjects=people,
        attempts=len(code),
    )
