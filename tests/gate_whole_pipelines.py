"""Whole pipelines under a change that is neutral but not identical: two audits and a gate each.

The quantiser's threshold moves by a hundredth of the signal's standard deviation to either side, which
turns four signs in a thousand. ``python -m gate_whole_pipelines`` in this folder measures again, in some
minutes.
"""

from __future__ import annotations

import sys
from collections import Counter

from planted_changes import First, FreshAndHabit

from harness import audit
from harness.gating import gate
from harness.verdicts import Verdict

__all__ = ["main", "whole_pipeline"]

ATTACKS = ["population", "helper-leak", "distant-sensor", "replay"]


def whole_pipeline(seed: int, *, subjects: int = 60) -> Verdict:
    """The verdict on the moved threshold, on people of their own for every seed."""
    people = FreshAndHabit(subjects=subjects, seed=1000 * (seed + 1))
    old, new = (
        audit(First(threshold=threshold), attacks=ATTACKS, corpus=people, seed=seed)
        for threshold in (0.0, 0.01 * (-1) ** seed)
    )
    return gate(new, baseline=old)


def main(runs: int = 20) -> None:
    """Print how many pipelines came to which outcome, and which metrics were undecided how often."""
    verdicts = [whole_pipeline(seed) for seed in range(runs)]
    print(runs, dict(Counter(v.outcome for v in verdicts)))
    for outcome in ("fail", "undecided"):
        metrics = Counter(str(c.metric) for v in verdicts for c in v.of(outcome))
        print(outcome, dict(metrics.most_common()))


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
