"""One adversary after its victims: Views, beliefs, and what they are worth.

Subjects are split into folds; whoever is attacked is never among those learned from. For combining,
each attack also answers for a second fold that it did not learn from, on which weights are fitted. Attacks
that write to a sensor are not combined: A and B then derive another key than the one that others look for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from harness.acting import disturb
from harness.asking import Scene, asked_of
from harness.cache import Captures
from harness.combining import chosen_weights, combined
from harness.contracts import Array, Belief, Guesses
from harness.device import Asked
from harness.errors import ContractError, CorpusError
from harness.exchange import Honest
from harness.interference import Act, interferes
from harness.logs import Logged
from harness.prior import symbol_prior
from harness.score import Disclosure, Scores, gives_keys, judge, merge
from harness.view import Rows, Unseen, needs, population_rows

__all__ = ["FoldAnswer", "Outcome", "pursue", "pursue_together"]


@dataclass(frozen=True, slots=True)
class _Believed:
    """Beliefs about the witness, with the rows they are about."""

    rows: Rows
    log_prob: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FoldAnswer:
    """What one attack made of one fold."""

    scores: Scores | None = None
    believed: _Believed | None = None  # None: not about the witness
    calibration: _Believed | None = None
    untested: str | None = None
    failed: str | None = None
    left_out: int = 0
    acts: Sequence[Act] = ()  # what it did to sensors; the first is what `scores` are about
    asked: Sequence[Asked] = ()  # what it asked devices


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one attack made of all folds."""

    folds: Sequence[FoldAnswer] = ()
    scores: Scores | None = None
    untested: str | None = None
    failed: str | None = None
    note: str | None = None

    @property
    def acts(self) -> list[Act]:
        return [act for f in self.folds for act in f.acts]

    @property
    def asked(self) -> list[Asked]:
        return [asked for f in self.folds for asked in f.asked]

    @property
    def combinable(self) -> bool:
        return self.scores is not None and all(
            f.believed is not None for f in self.folds if f.scores is not None
        )

    @classmethod
    def joined(cls, folds: Sequence[FoldAnswer]) -> Outcome:
        """All folds together; one that failed fails the attack, one without captures is left out."""
        failures = [f.failed for f in folds if f.failed]
        if failures:
            return cls(folds=folds, failed=failures[0])
        done = [f.scores for f in folds if f.scores is not None]
        if not done:
            reasons = [f.untested for f in folds if f.untested]
            return cls(folds=folds, untested=reasons[0] if reasons else "no attempt established a key")
        missing = sum(f.left_out for f in folds)
        note = f"{missing} attempts left out for want of a capture" if missing else None
        return cls(folds=folds, scores=merge(done), note=note)


def pursue(
    attack: Any,
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    captures: Captures,
    folds: Sequence[Array],
    fold: int,
    seed: int,
    calibrate: bool,
) -> FoldAnswer:
    """Run one attack on the subjects of one fold, learning from the others.

    With `calibrate`, also on the next fold with neither of the two to learn from.
    """
    acting = interferes(attack)
    refused = _refused(attack, scheme, acting)
    if refused is not None:
        return FoldAnswer(untested=refused)
    try:
        if acting:
            return _acting(attack, scheme, honest, disclosure, captures, folds, fold, seed)
        return _pursued(attack, scheme, honest, disclosure, captures, folds, fold, seed, calibrate)
    except Unseen as reason:
        victims = np.isin(honest.subject, folds[fold]) & honest.victims
        return FoldAnswer(untested=str(reason), left_out=int(victims.sum()))
    except ContractError as error:
        return FoldAnswer(failed=str(error))


def _refused(attack: Any, scheme: Any, acting: bool) -> str | None:
    """Why an attack that acts cannot be run here, or None."""
    _, words = needs(attack)
    if acting and isinstance(scheme, Logged):
        return "a log of finished exchanges cannot be run again on disturbed sensors"
    if acting and "history" in words:
        return "an attack that acts on a sensor sees no history here: past sessions would be disturbed too"
    if "device" in attack.sees and not callable(getattr(scheme, "reproduce", None)):
        if isinstance(scheme, Logged):
            return "a log of finished exchanges holds no device that could be asked"
        return "a scheme of several rounds has no device that answers helper data by itself"
    return None


def _acting(
    attack: Any,
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    captures: Captures,
    folds: Sequence[Array],
    fold: int,
    seed: int,
) -> FoldAnswer:
    """Attack the runs of one fold's people that the attack itself disturbed."""
    inside = np.isin(honest.subject, folds[fold])
    people = np.flatnonzero(inside if honest.attacked is None else inside & honest.attacked)
    others = np.flatnonzero(~inside & honest.teachers)
    learned = population_rows(honest, others, seed=seed, fold=fold)
    scene, acts = disturb(attack, scheme, honest, captures, people, learned, fold=fold, seed=seed)
    try:
        answer = _pursued(
            scene.attack, scheme, scene.honest, disclosure, captures, folds, fold, seed, False, scene=scene
        )
    except Unseen as reason:
        answer = FoldAnswer(untested=str(reason), left_out=len(people))
    return replace(answer, believed=None, acts=acts)


def _pursued(
    attack: Any,
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    captures: Captures,
    folds: Sequence[Array],
    fold: int,
    seed: int,
    calibrate: bool,
    *,
    scene: Scene | None = None,
) -> FoldAnswer:
    inside = np.isin(honest.subject, folds[fold])
    others = np.flatnonzero(~inside & honest.teachers)
    learned = population_rows(honest, others, seed=seed, fold=fold)
    victims = np.flatnonzero(inside & honest.victims)
    if len(victims) == 0:
        return FoldAnswer(untested="no attempt established a key")
    heard: list[Asked] = []
    answers = asked_of(
        attack,
        scheme,
        honest,
        captures,
        victims,
        learned,
        (seed, "attack", fold),
        scene=scene,
        heard=heard,
    )
    outcomes = [outcome for outcome, _ in answers]
    witnessed = any(isinstance(o, Belief) and o.about == "witness" for o in outcomes)
    if witnessed and disclosure.labels is None and not gives_keys(scheme):
        raise Unseen(
            "a belief about the witness gives keys only by `reproduce` or a disclosure: it has neither"
        )
    rows = Rows(
        attempt=np.concatenate([r.attempt for _, r in answers]),
        attacker=np.concatenate([r.attacker for _, r in answers]),
    )
    prior = _prior(honest, folds, [fold])
    parts = [
        judge(outcome, scheme, honest, disclosure, attempt=r.attempt, attacker=r.attacker, prior=prior)
        for outcome, r in answers
    ]
    believed = _about_witness(outcomes, rows)
    calibration = None
    if calibrate and believed is not None:
        calibration = _calibration(attack, scheme, honest, captures, folds, fold, seed)
    return FoldAnswer(
        scores=merge(parts),
        believed=believed,
        calibration=calibration,
        left_out=len(victims) - len(np.unique(rows.attempt)),
        asked=heard,
    )


def _prior(honest: Honest, folds: Sequence[Array], apart: Sequence[int]) -> Array:
    """Log-probability of each symbol at each position among people outside some folds."""
    hidden = np.isin(honest.subject, np.concatenate([folds[f] for f in apart]))
    return symbol_prior(honest.a.symbols[~hidden & honest.established & honest.teachers], honest.a.alphabet)


def _about_witness(outcomes: Sequence[Belief | Guesses], rows: Rows) -> _Believed | None:
    tables = [o.log_prob for o in outcomes if isinstance(o, Belief) and o.about == "witness"]
    return _Believed(rows, np.concatenate(tables)) if tables and len(tables) == len(outcomes) else None


def _calibration(
    attack: Any,
    scheme: Any,
    honest: Honest,
    captures: Captures,
    folds: Sequence[Array],
    fold: int,
    seed: int,
) -> _Believed | None:
    """Beliefs about the next fold's people, learned from neither that fold nor the victims'."""
    second = (fold + 1) % len(folds)
    apart = np.isin(honest.subject, np.concatenate([folds[fold], folds[second]]))
    learned = population_rows(honest, np.flatnonzero(~apart & honest.teachers), seed=seed, fold=fold)
    people = np.flatnonzero(np.isin(honest.subject, folds[second]) & honest.established & honest.teachers)
    if len(people) == 0:
        return None
    try:
        answers = asked_of(attack, scheme, honest, captures, people, learned, (seed, "calibrate", fold))
    except Unseen:
        return None
    rows = Rows(
        attempt=np.concatenate([r.attempt for _, r in answers]),
        attacker=np.concatenate([r.attacker for _, r in answers]),
    )
    return _about_witness([outcome for outcome, _ in answers], rows)


def pursue_together(
    answers: Sequence[FoldAnswer],
    honest: Honest,
    scheme: Any,
    disclosure: Disclosure,
    folds: Sequence[Array],
    fold: int,
) -> FoldAnswer:
    """Combine the beliefs of several attacks on one fold."""
    if any(a.believed is None for a in answers):
        return FoldAnswer(untested="one of its attacks has no capture of these people")
    # whoever the weights are fitted on must not have shaped the prior either
    prior = _prior(honest, folds, [fold, (fold + 1) % len(folds)])
    rows, beliefs = _aligned([a.believed for a in answers if a.believed is not None])
    if len(rows.attempt) == 0:
        return FoldAnswer(untested="no attempt has a capture for every one of its attacks")
    weights = np.ones(1 + len(beliefs))
    calibrations = [a.calibration for a in answers if a.calibration is not None]
    if len(calibrations) == len(answers):
        known, theirs = _aligned(calibrations)
        if len(known.attempt):
            weights = chosen_weights(
                theirs, prior, honest.a.symbols[known.attempt], honest.subject[known.attempt]
            )
    outcome = Belief(log_prob=combined(beliefs, prior, weights))
    try:
        scores = judge(
            outcome,
            scheme,
            honest,
            disclosure,
            attempt=rows.attempt,
            attacker=rows.attacker,
            prior=_prior(honest, folds, [fold]),
        )
    except (ContractError, CorpusError) as error:
        return FoldAnswer(failed=str(error))
    return FoldAnswer(scores=scores, believed=_Believed(rows, outcome.log_prob))


def _aligned(parts: Sequence[_Believed]) -> tuple[Rows, list[Array]]:
    """Beliefs of several attacks about the same rows; an attack without named attackers serves all."""
    attempts = set(parts[0].rows.attempt.tolist())
    for part in parts[1:]:
        attempts &= set(part.rows.attempt.tolist())
    places: list[dict[int, dict[int, int]]] = []
    for part in parts:
        table: dict[int, dict[int, int]] = {}
        for i, (a, h) in enumerate(
            zip(part.rows.attempt.tolist(), part.rows.attacker.tolist(), strict=True)
        ):
            table.setdefault(a, {})[h] = i
        places.append(table)
    pairs, chosen = [], []
    for attempt in sorted(attempts):
        hands = sorted({h for table in places for h in table[attempt] if h >= 0}) or [-1]
        for hand in hands:
            pairs.append((attempt, hand))
            chosen.append([t[attempt].get(hand, next(iter(t[attempt].values()))) for t in places])
    made = np.array(pairs, np.intp).reshape(-1, 2)
    index = np.array(chosen, np.intp).reshape(-1, len(parts))
    beliefs = [part.log_prob[index[:, i]] for i, part in enumerate(parts)]
    return Rows(attempt=made[:, 0], attacker=made[:, 1]), beliefs
