"""Attacks that write to a sensor or ask a device."""

from __future__ import annotations

import copy

from harness.checks.attack_case import AttackCase
from harness.checks.outcomes import Breach, NotApplicable, at
from harness.checks.registry import check
from harness.device import QUERY_LIMIT
from harness.exchange import parts
from harness.interference import strength_of, tuned, variants
from harness.sensors import added_samples, noted

__all__: list[str] = []


@check("attack", "interference-well-formed")
def interference_well_formed(case: AttackCase) -> None:
    """`interfere` returns captures by role, of the roles and shapes of the blanks and finite, and notes
    that are arrays with a row for each attempt; `tuned`, if there is one, returns an attack that
    interferes.
    """
    case.acting()
    view, _ = case.shown(case.sees | case.likes)
    with at("tuned()"):
        fitted = tuned(case.attack, view.population)
    blanks = case.blanks()
    with at("interfere()"):
        answer = case.ask("interfere()", fitted.interfere, blanks, rng=case.rng("interfere"))
        wanted, notes = parts(case.plugin, "interfere()", answer, 2)
        added_samples(case.plugin, wanted, blanks)
        noted(case.plugin, notes, len(case.people[0]))


@check("attack", "strengths-well-formed")
def strengths_well_formed(case: AttackCase) -> None:
    """`strength` is a label, an amount or None, and a unit; `variants` are attacks that interfere, each of
    a strength of its own.
    """
    case.acting()
    if getattr(case.attack, "strength", None) is None and not callable(
        getattr(case.attack, "variants", None)
    ):
        raise NotApplicable("the attack states no strength and has no variants")
    _ = case.shown(case.sees | case.likes)
    fitted = copy.deepcopy(case.fitted)
    with at("strength"):
        labels = [strength_of(fitted).label]
    with at("variants()"):
        others = variants(fitted)
    for strength, other in others:
        if not callable(getattr(other, "interfere", None)):
            raise Breach("variants()", strength.label, "an attack that interferes", type(other).__name__)
        if strength.label in labels:
            raise Breach("variants()", "strength", f"other than {', '.join(labels)}", strength.label)
        labels.append(strength.label)


@check("attack", "query-budget-kept")
def query_budget_kept(case: AttackCase) -> None:
    """A device is asked at most as often as it answers, 1000 times an attempt."""
    if "device" not in case.sees | case.likes:
        raise NotApplicable("the attack asks no device")
    if not case.asks:
        raise NotApplicable(f"{case.scheme.name} has no device that answers")
    view, rows = case.view
    _, device = case.heard(view, rows, case.rng("believe"))
    if device is not None and device.refused:
        expected = f"at most {QUERY_LIMIT} queries of each attempt"
        raise Breach("believe()", "view.device", expected, f"{device.asked} queries")
