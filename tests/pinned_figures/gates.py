"""What the gate says of drawn changes of every metric, with the words it says it in."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from gate_pipelines import METRICS, SimulatedMetric, result_of

from harness.baseline import baseline_of
from harness.contracts import Array
from harness.gating import gate

STRANGERS = SimulatedMetric(attack=None, measure="strangers-agreement", level=0, among=0, moved=0)
ALL = [*METRICS, STRANGERS]
RATES = {"success-odds", "key-agreement", "failure-to-acquire", "bit-mismatch", "strangers-agreement"}


def values(metric: SimulatedMetric, people: int) -> Array:
    draw = np.random.default_rng(ALL.index(metric))
    if metric.measure in RATES:
        return np.asarray(np.clip(draw.normal(0.3, 0.2, people), 0, 1))
    return np.asarray(np.abs(draw.normal(40, 8, people)))


def change(metric: SimulatedMetric, old: Array, how: str) -> Array:
    draw = np.random.default_rng(len(how))
    step = 0.02 if metric.measure in RATES else 1.0
    moved = {
        "same": old,
        "noise": old + 0.2 * step * draw.normal(size=len(old)),
        "up": old + step,
        "up, noisy": old + step * draw.normal(2, 1, len(old)),
        "down, noisy": old - step * draw.normal(3, 1, len(old)),
        "all one": np.full(len(old), old[0]),
        "nothing": old * 0,
        "one person": old + (np.arange(len(old)) == 1) * 9 * step,
    }[how]
    return np.asarray(np.clip(moved, 0, 1) if metric.measure in RATES else np.maximum(moved, 0))


CHANGES = ("same", "noise", "up", "up, noisy", "down, noisy", "all one", "nothing", "one person")


def one_by_one(people: int, how: str) -> Any:
    """Each metric alone."""
    found = []
    for metric in ALL:
        old = values(metric, people)
        before = baseline_of(result_of({metric: old}), reason="before")
        found.append(gate(result_of({metric: change(metric, old, how)}), baseline=before))
    return found


def together(how: str, *, zero: bool) -> Any:
    """All metrics at once, success odds of nobody or of some."""
    old = {m: values(m, 40) * (0 if zero and m.measure in RATES else 1) for m in ALL}
    new = {m: change(m, v, "noise" if m.measure == "key-rank" else how) for m, v in old.items()}
    before = baseline_of(result_of(old), reason="before")
    found = []
    for level in (0.05, 0.2):
        found.append(gate(result_of(new), baseline=before, anchor=before, level=level))
        found.append(
            gate(
                result_of(new), baseline=before, margins={"bit-mismatch": 0.5, "key-rank": 9.0}, level=level
            )
        )
    return found


def some_gone(gone: int) -> Any:
    """People that only one side has, and metrics that only one side has."""
    old = {m: values(m, 30) for m in METRICS}
    few = {m: v[gone:] for m, v in old.items()}
    before, after = baseline_of(result_of(old), reason="before"), {m: v + 0.001 for m, v in old.items()}
    return [
        gate(result_of(few), baseline=before),
        gate(result_of(after), baseline=baseline_of(result_of(few), reason="before")),
        gate(result_of({m: v for m, v in old.items() if m.attack}), baseline=before),
    ]


FIGURES: dict[str, Callable[[], Any]] = {
    **{f"gate {n}, {how}": partial(one_by_one, n, how) for n in (2, 8, 60) for how in CHANGES},
    **{f"gate all, {how}": partial(together, how, zero=False) for how in CHANGES},
    **{f"gate all, {how}, none": partial(together, how, zero=True) for how in CHANGES},
    **{f"gate {gone} gone": partial(some_gone, gone) for gone in (1, 3, 15, 28)},
}
