"""Members, and the form of the answer."""

from __future__ import annotations

import numpy as np

from harness import validate
from harness.checks.attack_case import AttackCase
from harness.checks.outcomes import Breach, CouldNotRun, NotApplicable, at, readable
from harness.checks.registry import check
from harness.checks.undeclared import everything
from harness.contracts import Belief, Guesses
from harness.errors import ContractError

__all__: list[str] = []


@check("attack", "members-there")
def members_there(case: AttackCase) -> None:
    """An attack has a printable `name`, the frozenset `sees`, perhaps one `likes`, both of words and
    adversaries' roles, never an owner's, and the method `believe`; none of them raises when it is read.
    """
    readable(case.attack)
    with at("the attack"):
        validate.attack_members(case.attack)


@check("attack", "declares-what-it-needs")
def declares_what_it_needs(case: AttackCase) -> None:
    """Whatever `believe` cannot do without is named in `sees` or `likes`."""
    try:
        case.believe(*case.view, case.rng("believe"))
    except ContractError as error:
        view, rows, _ = everything(case)
        try:
            case.believe(view, rows, case.rng("believe"), device=_has_device(case))
        except ContractError:  # it fails anyway, which is another promise
            return
        declared = ", ".join(sorted(case.sees | case.likes)) or "nothing"
        expected = f"an answer from what is declared, {declared}"
        raise Breach(
            "believe()", "view", expected, f"{error.got}; with everything shown it answers"
        ) from error


def _has_device(case: AttackCase) -> bool:
    return callable(getattr(case.scheme, "reproduce", None))


@check("attack", "attack-answers")
def attack_answers(case: AttackCase) -> None:
    """`believe` returns a Belief or Guesses; it raises nothing on a View that holds what it declares."""
    try:
        answer = case.believe(*case.view, case.rng("believe"))
    except ContractError as error:
        try:
            declares_what_it_needs(case)
        except Breach:
            raise CouldNotRun("it needs what it does not declare, see declares-what-it-needs") from error
        raise Breach("believe()", "", error.expected, error.got) from error
    if not isinstance(answer, Belief | Guesses):
        raise Breach("believe()", "", "a Belief or Guesses", type(answer).__name__)


@check("attack", "beliefs-normalised")
def beliefs_normalised(case: AttackCase) -> None:
    """A Belief has natural logs for every symbol of the witness, or every bit of the key if `about` says
    so: (attempts, m, alphabet), no NaN, and probabilities that add up to one.
    """
    answer = case.raw
    if not isinstance(answer, Belief):
        raise NotApplicable("the attack guesses keys")
    a, width = case.honest.a, int(case.scheme.key_bits)
    m, alphabet = (width, 2) if answer.about == "key" else (a.symbols.shape[1], a.alphabet)
    with at("believe()"):
        # work is another promise
        plain = Belief(log_prob=answer.log_prob, about=answer.about)
        validate.belief(case.plugin, plain, case.view[0].attempts, m, alphabet)


@check("attack", "guesses-well-formed")
def guesses_well_formed(case: AttackCase) -> None:
    """Guesses are keys of 0 and 1, (attempts, g, key_bits), with g from 1 to 4096."""
    answer = case.raw
    if not isinstance(answer, Guesses):
        raise NotApplicable("the attack has a belief")
    with at("believe()"):
        plain = Guesses(keys=answer.keys)
        validate.guesses(case.plugin, plain, case.view[0].attempts, int(case.scheme.key_bits))


@check("attack", "work-in-range")
def work_in_range(case: AttackCase) -> None:
    """`work`, the log2 of trials already spent, is a number from 0 to 512."""
    answer = case.raw
    if not isinstance(answer, Belief | Guesses):
        raise CouldNotRun("the attack gives no answer, see attack-answers")
    work = answer.work
    if not (isinstance(work, int | float | np.floating) and 0 <= work <= 512):
        raise Breach("believe()", "work", "a log2 of trials in 0..512", repr(work))


@check("attack", "potential-rated")
def potential_rated(case: AttackCase) -> None:
    """`potential` names a step of each of the five factors, and says why."""
    from harness.potential import rating

    stated = getattr(case.attack, "potential", None)
    if stated is None:
        raise NotApplicable("the attack does not rate itself")
    try:
        rating(**dict(stated))
    except (TypeError, ValueError) as error:
        raise Breach("potential", "", "a known step of every factor, and a rationale", error) from error
