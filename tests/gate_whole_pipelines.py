"""Whole pipelines under a change that is neutral but not identical: two audits and a gate each.

The quantiser leans towards the sign before, by a hundredth of the signal's standard deviation: four signs
in a thousand turn, and both signs stay as likely. ``python -m gate_whole_pipelines`` in this folder
measures again, in some minutes.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass

import numpy as np
from planted_changes import First, FreshAndHabit

from harness import audit
from harness.contracts import Capture, Witness
from harness.gating import gate
from harness.verdicts import Verdict

__all__ = ["Leaning", "main", "whole_pipeline"]

ATTACKS = ["population", "helper-leak", "distant-sensor", "replay"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaning(First):
    """A value that is nearly 0 takes the sign of the one before."""

    def witness(self, capture: Capture) -> Witness:
        values = capture.samples[:, 0, :]
        leaning = values + 0.01 * np.sign(np.roll(values, 1, axis=1))
        kept = Capture(samples=leaning[:, None, :], rate_hz=2.0, signal="value", unit="1")
        return First.witness(self, kept)


def whole_pipeline(seed: int, *, subjects: int = 60) -> Verdict:
    """The verdict on the leaning quantiser, on people of their own for every seed."""
    people = FreshAndHabit(subjects=subjects, seed=1000 * (seed + 1))
    old, new = (audit(scheme, attacks=ATTACKS, corpus=people, seed=seed) for scheme in (First(), Leaning()))
    return gate(new, baseline=old)


def main(runs: int = 20) -> None:
    """Print how many pipelines came to which outcome, and which metrics failed or stayed open how often."""
    verdicts = [whole_pipeline(seed) for seed in range(runs)]
    print(runs, dict(Counter(v.outcome for v in verdicts)))
    for outcome in ("fail", "undecided"):
        metrics = Counter(str(c.metric) for v in verdicts for c in v.of(outcome))
        print(outcome, dict(metrics.most_common()))


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
