"""The same question gets the same answer, row by row."""

from __future__ import annotations

from dataclasses import replace

import cloudpickle
import numpy as np

from harness.checks.alike import same, same_answers, same_helper
from harness.checks.answers import sound
from harness.checks.attack_case import AttackCase
from harness.checks.handing import rows_of
from harness.checks.outcomes import Breach, CouldNotRun, NotApplicable, at, raised
from harness.checks.registry import check
from harness.contracts import Array, Belief, Guesses, View
from harness.errors import ContractError
from harness.view import Rows

__all__: list[str] = []


@check("attack", "same-stream-same-output")
def same_stream_same_output(case: AttackCase) -> None:
    """The same View and the same stream get the same answer: nothing is drawn but from `rng`, and nothing
    is remembered from one question to the next.
    """
    first = case.answer
    again = sound(case, case.believe(*case.view, case.rng("believe")), case.view[0])
    same_answers(first, again, when="from the same stream")
    if case.acts:
        one, two = (
            case.ask("interfere()", case.fitted.interfere, case.blanks(), rng=case.rng("twice"))
            for _ in range(2)
        )
        for role in one[0]:
            expected, got = one[0][role].samples, two[0][role].samples
            same("interfere()", role, expected, got, when="from the same stream")
        same_helper("interfere()", one[1], two[1], when="from the same stream")


def _part(view: View, rows: Array) -> View:
    """Some rows of a View."""
    return replace(
        view,
        attempts=len(rows),
        subject=view.subject[rows],
        session=view.session[rows],
        captures={name: rows_of(capture, rows) for name, capture in view.captures.items()},
        helper=rows_of(view.helper, rows),
        notes=rows_of(view.notes, rows),
    )


def _answer_of(answer: Belief | Guesses, rows: Array) -> Belief | Guesses:
    if isinstance(answer, Guesses):
        return replace(answer, keys=answer.keys[rows])
    return replace(answer, log_prob=answer.log_prob[rows])


@check("attack", "rows-stand-alone")
def rows_stand_alone(case: AttackCase) -> None:
    """Where an attack draws nothing, row i of its answer depends on row i of the View alone, and on the
    people that it learns from: neither on the other attempts nor on their number or order.
    """
    whole = case.answer
    if not case.deterministic:
        raise NotApplicable("another stream gets another answer: the attack draws coins")
    view, rows = case.view
    count = view.attempts
    if count < 2:
        raise CouldNotRun("one attempt is no batch: give a corpus with sessions of several")
    for some, when in (
        (np.array([count - 1]), "alone as beside others"),
        (np.arange(count)[::-1], "in another order"),
    ):
        part = _part(view, some)
        chosen = Rows(attempt=rows.attempt[some], attacker=rows.attacker[some])
        with at("believe()"):
            found = sound(case, case.believe(part, chosen, case.rng("believe")), part)
        expected = _answer_of(whole, some)
        if isinstance(expected, Guesses) and isinstance(found, Guesses):
            # a list of its own length for each batch: the shorter one is what both promise
            least = min(expected.keys.shape[1], found.keys.shape[1])
            expected = replace(expected, keys=expected.keys[:, :least])
            found = replace(found, keys=found.keys[:, :least])
        # trials are counted for all attempts together
        same_answers(replace(expected, work=0.0), replace(found, work=0.0), when=when)


@check("attack", "survives-pickling")
def survives_pickling(case: AttackCase) -> None:
    """An attack can be copied and sent to another process, and answers the same there."""
    if case.unsent:
        raise Breach("the attack", "", "one that can be pickled", case.unsent)
    with at("the attack"):
        try:
            sent = cloudpickle.loads(cloudpickle.dumps(case.fitted if case.acts else case.attack))
        except (Exception, SystemExit) as error:  # a stranger's parts may raise anything
            expected = "one that comes out of a pickle"
            raise ContractError(case.plugin, "", expected, raised(error)) from error
    first = case.answer
    if not case.acts:  # what copies and pickles forget alike would go unseen between them
        itself = case.believe(*case.view, case.rng("believe"), attack=case.attack)
        same_answers(sound(case, itself, case.view[0]), first, when="after copying")
    with at("believe()"):
        found = sound(case, case.believe(*case.view, case.rng("believe"), attack=sent), case.view[0])
    same_answers(first, found, when="after pickling")
