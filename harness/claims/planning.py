"""Claims before an audit runs: checked against what runs, its guess budgets, and what it cannot decide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from harness.claims.foresight import hidden_leak, smallest_odds, undecidable
from harness.claims.grounds import claimed_budgets
from harness.claims.model import Claims
from harness.claims.reading import check_names, effective, read_claims
from harness.contracts import Corpus

__all__ = ["budgets_of", "foreseen", "in_force"]


def in_force(
    claims: Claims | str | Path | None, *, schemes: Sequence[str], attacks: Sequence[str]
) -> Claims | None:
    """Claims with presets written out, refused if they name what nobody knows.

    Raises
    ------
    UsageError
        Before anything runs: a damaged file, or an unknown attack, threat or scheme.
    """
    if claims is None:
        return None
    whole = effective(claims if isinstance(claims, Claims) else read_claims(claims))
    check_names(whole, attacks=attacks, schemes=schemes)
    return whole


def budgets_of(claims: Claims | None, usual: Sequence[int]) -> tuple[int, ...]:
    """The usual guess budgets and those that claims are about, ascending."""
    return tuple(sorted({*usual, *(claimed_budgets(claims) if claims is not None else ())}))


def foreseen(claims: Claims, corpus: Corpus, schemes: Sequence[Any]) -> Iterator[str]:
    """Sentences: what this corpus can resolve, and the claims that it cannot meet whatever comes out."""
    sittings = corpus.sittings()
    size = {
        "subjects": len({s.subject for s in sittings}),
        "attempts": sum(s.attempts for s in sittings),
    }
    if not size["subjects"]:
        return
    for scheme in schemes:
        bits = int(scheme.key_bits)
        per_bit, whole = hidden_leak(**size, key_bits=bits)
        yield (
            f"{scheme.name}: {size['subjects']} people and {size['attempts']} attempts resolve odds down "
            f"to {smallest_odds(**size):.2g}; a leak of up to {per_bit:.2g} bit in each key bit, "
            f"{whole:.3g} of {bits} bits in all, could stay unseen."
        )
        for claim, why in undecidable(claims, **size, attackers=0, key_bits=bits, scheme=scheme.name):
            yield f"{scheme.name}: claim {claim} cannot be met on this corpus, whatever comes out: {why}"
