"""The measures of the result table, and which way each is good for the owner."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["MEASURES", "Measure"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One measure of the result table.

    Attributes
    ----------
    attack : bool
        Something an adversary gets; else something the scheme does for its owner.
    units : tuple of str
        A claim names one where there are several.
    more_is_better : bool
        For the owner.
    budgeted : bool
        It belongs to a number of guesses, and grows with it.
    methods : tuple of str
        Not empty where the methods measure different things, so that a claim must name one.
    """

    attack: bool
    units: tuple[str, ...]
    more_is_better: bool
    budgeted: bool = False
    methods: tuple[str, ...] = ()


_SPEEDS = (
    "average-given-helper",
    "symbol-log2",
    "witness-bits",
    "code-rate-of-symbols",
    "code-rate",
    "bits-minus-parities",
)
_RANDOMNESS = (
    "frequency",
    "block-frequency",
    "runs",
    "longest-run",
    "matrix-rank",
    "spectral",
    "non-overlapping-templates",
    "overlapping-template",
    "universal",
    "linear-complexity",
    "serial",
    "approximate-entropy",
    "cumulative-sums",
    "random-excursions",
    "random-excursions-variant",
)
_STAGES = (
    "uniform-record",
    "independent-record",
    "chain-record",
    "key-length",
    "given-helper",
    "strongest-view",
    "leftover-hash-dodis-2008",
    "leftover-hash-textbook",
)

_LIKENESSES = ("published-arrays", "parities")
_DETECTORS = (
    "key-bits",
    "key-bit-pairs",
    "key-blocks",
    "key-repeats",
    "key-subject",
    "key-circumstances",
    "key-counter",
    "helper-affine",
    "helper-values",
    "helper-steps",
    "helper-learned",
    "helper-linkage",
)
_JOINT = ("attempts-1", "attempts-2", "attempts-4", "attempts-8")
_TRIES = ("tries-2", "tries-4")
_WAVES = tuple(f"{a:g}-sigma" for a in (0, 0.1, 0.2, 0.5, 1, 2, 3, 5))
_STRENGTHS = (*_WAVES, "saturation", "quiet")  # others have a name after the same pattern
_CHANGED = tuple(f"changed-{2**i}" for i in range(7))
_DELAYS = tuple(f"delay-{ms}-ms" for ms in (0, 10, 20, 50, 100, 200, 500, 1000))
_HALVES = ("half-agreement", "halved")


def _honest(*units: str, more: bool, methods: tuple[str, ...] = ()) -> Measure:
    return Measure(attack=False, units=units, more_is_better=more, methods=methods)


def _of_attack(*units: str, more: bool, budgeted: bool = False, methods: tuple[str, ...] = ()) -> Measure:
    return Measure(attack=True, units=units, more_is_better=more, budgeted=budgeted, methods=methods)


MEASURES: Mapping[str, Measure] = MappingProxyType(
    {
        "key-agreement": _honest("probability", more=True),
        "failure-to-acquire": _honest("probability", more=False),
        "bit-mismatch": _honest("probability", more=False),
        "strangers-agreement": _honest("probability", more=False),
        "key-repeats": _honest("probability", more=False),
        "time": _honest("s", more=False),
        "public-bits": _honest("bit/bit", more=False),
        "randomness": _honest("p-value", more=True, methods=_RANDOMNESS),
        "blind-detector": _honest("p-value", more=True, methods=_DETECTORS),
        "min-entropy": _honest("bit", "bit/symbol", more=True),
        "rate": _honest("bit/s", more=True, methods=_SPEEDS),
        "time-to-key": _honest("s", more=False, methods=_SPEEDS),
        "bits-left": _honest("bit", "bit/s", more=True, methods=_STAGES),
        "channel-entropy": _honest("bit", more=True, methods=("sum-of-channels", "joint")),
        "channel-overlap": _honest("bit", more=False, methods=("min-entropy", "shannon")),
        "linkage": _honest("D_sys", more=False, methods=_LIKENESSES),
        "linkage-test": _honest("p-value", more=True, methods=_LIKENESSES),
        "joint-strength": _honest("bit", more=True, methods=_JOINT),
        "agreement-within": _honest("probability", more=True, methods=_TRIES),
        "retries": _honest("tries", "s", more=False, methods=_TRIES),
        "success-odds": _of_attack("probability", more=False, budgeted=True),
        "odds-over-sessions": _of_attack(
            "probability", more=False, budgeted=True, methods=("sessions-10", "sessions-100")
        ),
        "worst-odds": _of_attack(
            "probability", more=False, budgeted=True, methods=("worst-person", "worst-pair")
        ),
        "weak-people": _of_attack("probability", more=False, budgeted=True),
        "weak-prevalence": _of_attack(
            "probability",
            more=False,
            budgeted=True,
            methods=("odds-from-10-percent", "odds-from-50-percent"),
        ),
        "key-rank": _of_attack("log2", more=True),
        "guesses-for-odds": _of_attack("log2", more=True, methods=("at-1-percent", "at-50-percent")),
        "attacker-bit-agreement": _of_attack("probability", more=False),
        "mutual-information": _of_attack("bit", "bit/symbol", more=False),
        "over-confidence": _of_attack("bit/symbol", more=True),
        "leakage-test": _of_attack("p-value", more=True),
        "secret-key-rate": _of_attack("bit/symbol", more=True, methods=("maurer-lower", "maurer-upper")),
        "device-information": _of_attack("bit/symbol", more=True, methods=("i-ab",)),
        "view-information": _of_attack("bit/symbol", more=False, methods=("i-ae", "i-be")),
        "agreement-under-interference": _of_attack("probability", more=True, methods=_STRENGTHS),
        "entropy-under-interference": _of_attack("bit/symbol", more=True, methods=_STRENGTHS),
        "least-disturbance": _of_attack("sigma", more=True, methods=_HALVES),
        "agreement-under-tampering": _of_attack("probability", more=True, methods=_CHANGED),
        "least-tampering": _of_attack("element", more=True, methods=_HALVES),
        "tampering-noticed": _of_attack("probability", more=True),
        "queries-to-recovery": _of_attack("queries", more=True),
        "gain-over": _of_attack("bit/symbol", more=False),
        "relay-agreement": _of_attack("probability", more=False, methods=_DELAYS),
        "relay-time-budget": _of_attack("s", more=False),
    }
)
"""By the name of the measure."""
