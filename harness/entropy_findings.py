"""What the entropy of the witness, and what is left of the key, ask to be said."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from scipy.stats import t

from harness.estimators.jackknife import GROUPS
from harness.results import Finding, Row
from harness.rules import SHARE

__all__ = ["entropy_findings"]

_MODELLED = {
    "average-given-helper-independent-symbols": "if symbols were independent with the shares seen here",
    "average-given-helper-markov": "if each symbol depends on the one before it as seen here",
}
_MARGIN = 1.0  # bits that may be missing before it is said
_OVERLAP = 0.05  # bits that channels share from which on it is said
_SURE = 40  # bits of all keys together: then one of at most 2^8 symbols throughout is no chance

Say = Callable[..., Finding]


def entropy_findings(
    rows: Sequence[Row], say: Say, *, key_bits: int, understated: float
) -> Iterator[Finding]:
    """Too little left of the key, channels that share, a witness that never changes.

    Parameters
    ----------
    rows : sequence of Row
        Of one scheme.
    say : callable
        Makes the findings.
    key_bits : int
    understated : float
        Bits by which figures of what is left may be too low for want of people.
    """
    least = _least(rows, key_bits, understated)
    if least is not None:
        yield say(
            "less-entropy-than-promised",
            "medium",
            f"Given the helper data {least.value:.4g} bits [{least.low:.4g}, {least.high:.4g}] of the "
            f"promised {key_bits} are left, {_MODELLED[least.method]}.",
            bits=least.value,
        )
    for row in rows:
        if row.value is None or row.low is None:
            continue
        if row.measure == "channel-overlap" and row.method == "min-entropy" and row.low > _OVERLAP:
            yield say(
                "channels-overlap",
                "note",
                f"Its channels share {row.value:.3g} bits for one symbol of each (at least {row.low:.3g}): "
                "figures that take symbols as independent count that twice.",
                bits=row.value,
            )
        # the value is a limit, which is 0 for a few symbols that are not all alike
        if row.measure == "min-entropy" and row.method == "most-common-value" and row.high == 0:
            if key_bits * row.attempts < _SURE:
                continue
            yield say(
                "witness-constant", "high", "The witness is one symbol throughout: it holds no entropy."
            )


def _least(rows: Sequence[Row], key_bits: int, understated: float) -> Row | None:
    """Of the fitted sources that surely leave less than the key has, the one that leaves least."""
    known = [r for r in rows if r.method in _MODELLED and r.measure == "min-entropy" and r.attack is None]
    short = [
        (r.value, r)
        for r in known
        if r.value is not None and _at_most(r) + understated < key_bits - _MARGIN
    ]
    return min(short, key=lambda pair: pair[0])[1] if short else None


def _at_most(row: Row) -> float:
    """The upper end at this test's share of the level: each source fitted has one in as many parts of it.

    The row's own end leaves out one in forty. Its distance grows as Student's t over groups of people does:
    the ends of the jackknife do so, and whatever else is in them grows less.
    """
    groups = min(GROUPS, row.subjects)
    if row.value is None or row.high is None or row.level is None or groups < 2:
        return float("inf")
    strict, stored = (
        float(t.ppf(p, groups - 1)) for p in (1 - SHARE / len(_MODELLED), (1 + row.level) / 2)
    )
    return row.value + (row.high - row.value) * strict / stored
