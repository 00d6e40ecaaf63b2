"""The strongest belief carried to key guesses: really listed up to 2^20, by rank beyond."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from harness.attack_measures import successes
from harness.collecting import Rows
from harness.contracts import Array
from harness.decoding import secret_costs
from harness.enumeration import MOST, Listed, agrees, few_blocks, listed
from harness.estimators import proportion
from harness.exchange import Honest, call
from harness.pursuit import FoldAnswer, Outcome
from harness.ranking import Ranks
from harness.results import Finding, Row
from harness.score import Disclosure, Scores
from harness.validate import linear

__all__ = ["NAME", "Carried", "enumeration_rows"]

NAME = "enumeration"
ATTEMPTS = 24
"""Attempts whose keys are listed, spread over those of the strongest adversary from easy to hard."""
_BEYOND = 4
"""Of them at most so many whose key lies beyond the list: each costs a whole list."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """What came of carrying the strongest belief on."""

    rows: list[Row]
    findings: Sequence[Finding] = ()
    belief: str = ""  # whose it was; empty if nobody's
    scores: Scores | None = None  # with the ranks that lists gave


def enumeration_rows(
    outcomes: Sequence[tuple[str, Outcome]],
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    *,
    data: str,
    budgets: Sequence[int],
) -> Carried:
    """Odds of an adversary who tries keys best first, and whether its lists bear out the ranks.

    Parameters
    ----------
    outcomes : sequence of (attack, Outcome)
        The belief with the best odds at one guess is carried on, of equal ones that of the least rank.
    budgets : sequence of int
        Up to 2^20 keys are listed; beyond, ranks count.

    Returns
    -------
    Carried
    """
    table = Rows(scheme.name, NAME, data)
    if disclosure.labels is None or not disclosure.enumerable:
        table.skip(
            "success-odds", "probability", "keys are listed only for disclosed codes of few words a block"
        )
        return Carried(rows=table.rows)
    chosen = _strongest(outcomes, int(scheme.key_bits))
    if chosen is None:
        table.skip("success-odds", "probability", "no adversary here holds a belief about the witness")
        return Carried(rows=table.rows)
    name, outcome, scores = chosen
    rows = _spread(scores, int(scheme.key_bits))
    found = dict(_lists(outcome.folds, scheme, honest, disclosure, scores, rows))
    wrong = [r for r, told in found.items() if not agrees(told, scores.ranks, r)]
    said = (
        f"belief of {name}; keys listed, best first up to 2^{MOST.bit_length() - 1}, in {len(found)} of "
        f"{len(scores.attempt)} attempts, where the ranks that count elsewhere fit in "
        f"{len(found) - len(wrong)}"
    )
    exact, subject = _as_listed(scores, found), honest.subject[scores.attempt]
    for budget, low, high in successes(exact, int(scheme.key_bits), budgets):
        estimate = proportion.clustered_rate(
            low, high, subject, side="attacker-at-least", attacker=scores.attacker
        )
        table.add("success-odds", estimate, budget=budget, reason=said)
    findings = [_disagreement(scheme.name, name, len(wrong), len(found))] if wrong else []
    return Carried(rows=table.rows, findings=findings, belief=name, scores=exact)


def _disagreement(scheme: str, name: str, wrong: int, tried: int) -> Finding:
    return Finding(
        id="enumeration-disagrees",
        severity="high",
        scheme=scheme,
        attack=NAME,
        text=f"Listing keys under the belief of {name} does not bear out the bounds of their ranks in "
        f"{wrong} of {tried} attempts: no odds of this audit may be relied on until that is explained.",
    )


def _strongest(
    outcomes: Iterable[tuple[str, Outcome]], key_bits: int
) -> tuple[str, Outcome, Scores] | None:
    best, most = None, (-np.inf, -np.inf)
    for name, outcome in outcomes:
        if outcome.scores is None or not outcome.combinable or outcome.acts:
            continue
        odds = float(np.mean(outcome.scores.ranks.success(1, offline=False)[0]))
        rank = float(np.median(outcome.scores.ranks.log2_rank(key_bits)[1]))
        if (odds, -rank) > most:
            best, most = (name, outcome, outcome.scores), (odds, -rank)
    return best


def _spread(scores: Scores, key_bits: int) -> Array:
    """Rows from the least to the greatest rank, few of them beyond the list."""
    rank = scores.ranks.log2_rank(key_bits)[1]
    order = np.argsort(rank, kind="stable")
    within = int((rank <= np.log2(MOST)).sum())
    beyond = min(_BEYOND, len(order) - within)
    near = np.unique(np.linspace(0, within - 1, min(within, ATTEMPTS - beyond)).astype(int))
    far = within + np.unique(np.linspace(0, len(order) - within - 1, beyond).astype(int))
    return order[np.concatenate([near, far]).astype(np.intp)]


def _lists(
    folds: Sequence[FoldAnswer],
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    scores: Scores,
    rows: Array,
) -> Iterator[tuple[int, Listed]]:
    """Row of `scores` and its list."""
    labels = disclosure.labels
    if labels is None:
        return
    wanted = {(int(scores.attempt[r]), int(scores.attacker[r])): int(r) for r in rows}
    for fold in folds:
        if fold.believed is None:
            continue
        pairs = zip(fold.believed.rows.attempt.tolist(), fold.believed.rows.attacker.tolist(), strict=True)
        here = [(i, wanted[pair]) for i, pair in enumerate(pairs) if pair in wanted]
        if not here:
            continue
        mine = np.array([i for i, _ in here])
        attempt = fold.believed.rows.attempt[mine]
        helper = {k: v[attempt] for k, v in honest.helper.items()}
        said = call(scheme.name, "linear()", copy.deepcopy(scheme).linear, helper)
        symbols = honest.a.symbols[attempt]
        said = linear(scheme.name, said, len(attempt), symbols.shape[1] * labels.shape[1])
        for some, costs, true in secret_costs(fold.believed.log_prob[mine], labels, said, symbols):
            for i, row in enumerate(some.tolist()):
                yield here[row][1], listed(*few_blocks([c[i] for c in costs], true[i]))


def _as_listed(scores: Scores, found: dict[int, Listed]) -> Scores:
    """The same scores with the ranks that lists gave where they hold the key, else at least its length."""
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high", "surprise")
    kept = {n: getattr(scores.ranks, n).astype(float) for n in names}
    for row, told in found.items():
        if np.isinf(told.fewer):
            kept["upto_low"][row] = max(kept["upto_low"][row], float(told.length))
            continue
        kept["fewer_low"][row] = kept["fewer_high"][row] = told.fewer
        if told.upto == told.length == MOST:  # ties may go on beyond the list
            kept["upto_low"][row] = max(kept["upto_low"][row], told.upto)
            kept["upto_high"][row] = max(kept["upto_high"][row], told.upto)
            continue
        kept["upto_low"][row] = kept["upto_high"][row] = told.upto
    return replace(scores, ranks=Ranks(**kept, work=scores.ranks.work))
