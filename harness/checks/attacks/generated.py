"""Views that nobody thought of."""

from __future__ import annotations

from dataclasses import replace

from harness.checks import edits
from harness.checks.answers import sound
from harness.checks.attack_case import AttackCase
from harness.checks.outcomes import NotApplicable, at
from harness.checks.registry import check
from harness.checks.search import find, strategies

__all__: list[str] = []

EXAMPLES = 6  # an attack may learn anew for each


@check("attack", "any-view-answered")
def any_view_answered(case: AttackCase) -> None:
    """Whatever happened to what an adversary sensed (gaps, spikes, lost contact, an early end), the answer
    is well-formed; it is no error.
    """
    strategies()
    view, rows = case.view
    if not len(view.captures):
        raise NotApplicable("the attack senses nothing")
    _ = case.answer
    shortest = min(capture.samples.shape[2] for capture in view.captures.values())

    def test(made: list[edits.Edit]) -> None:
        seen = {name: edits.edited(capture, made) for name, capture in view.captures.items()}
        shown = replace(view, captures=seen)
        with edits.told(made), at("believe()"):
            sound(case, case.believe(shown, rows, case.rng("believe")), shown)

    for made in edits.each(shortest):
        test(made)
    find(edits.strategy(shortest), test, seed=case.seed, examples=EXAMPLES)
