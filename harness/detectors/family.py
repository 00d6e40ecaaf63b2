"""All detectors on one scheme, corrected for being many."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from harness.detectors.affine import affine_relations
from harness.detectors.blocks import block_modes
from harness.detectors.circumstances import key_circumstances
from harness.detectors.counter import key_counter
from harness.detectors.detection import Detection
from harness.detectors.evidence import Evidence, evidence, one_of_each
from harness.detectors.generating import generations
from harness.detectors.learned import learned_map
from harness.detectors.linked import helper_linkage
from harness.detectors.marginals import bit_marginals, bit_pairs
from harness.detectors.person import key_subject
from harness.detectors.repeats import key_repeats
from harness.detectors.steps import helper_steps
from harness.detectors.tails import LEVEL
from harness.detectors.values import helper_values
from harness.errors import ContractError
from harness.estimators.multiple import holm
from harness.exchange import Honest

__all__ = ["DETECTORS", "SLUGS", "adjusted", "detect", "detections"]

_Detector = Callable[[Evidence, int], Detection]

DETECTORS: Mapping[str, _Detector] = MappingProxyType(
    {
        "key-bits": lambda data, seed: bit_marginals(data),
        "key-bit-pairs": lambda data, seed: bit_pairs(data),
        "key-blocks": lambda data, seed: block_modes(data),
        "key-repeats": lambda data, seed: key_repeats(data),
        "key-subject": lambda data, seed: key_subject(data),
        "key-circumstances": lambda data, seed: key_circumstances(data),
        "key-counter": lambda data, seed: key_counter(data),
        "helper-affine": lambda data, seed: affine_relations(data),
        "helper-values": lambda data, seed: helper_values(data),
        "helper-steps": lambda data, seed: helper_steps(data),
        "helper-learned": lambda data, seed: learned_map(data, seed=seed),
        "helper-linkage": lambda data, seed: helper_linkage(data, seed=seed),
    }
)
"""By slug; each is handed the evidence and the seed of its streams."""
SLUGS = tuple(DETECTORS)
_OF_GENERATIONS = "key-repeats"
_OF_PERSON = "key-subject"
_OF_KEYS = ("key-bits", "key-bit-pairs", "key-blocks")


def detect(scheme: Any, honest: Honest, *, seed: int) -> list[Detection]:
    """Every detector on the honest runs of a scheme, and on further generations of its keys.

    Parameters
    ----------
    scheme : Scheme or Interactive
    honest : Honest
    seed : int

    Returns
    -------
    list of Detection
        One for each of `SLUGS`, in that order, p-values not yet corrected for each other. Where the scheme
        fails when it is run again, repeats of keys are failed and the others look at the honest runs alone.
    """
    failed, generated = None, None
    try:
        if any(callable(getattr(scheme, member, None)) for member in ("generate", "agree")):
            generated = generations(scheme, honest, seed=seed)
    except ContractError as error:
        failed = str(error)
    found = detections(evidence(honest, generated), seed=seed)
    if failed is None:
        return found
    return [Detection(slug=d.slug, failed=failed) if d.slug == _OF_GENERATIONS else d for d in found]


def detections(data: Evidence, *, seed: int) -> list[Detection]:
    """Every detector on the same evidence.

    Where a person's keys share bits, those that look at keys alone get one key of each person: else what is
    the person's own would pass for what all keys have in common.
    """
    if data.attempts == 0:
        return [Detection(slug=slug, untested="no attempt established a key") for slug in SLUGS]
    of_person = DETECTORS[_OF_PERSON](data, seed)
    tied = of_person.p is not None and of_person.p <= LEVEL
    single = one_of_each(data) if tied else data
    return [
        of_person if slug == _OF_PERSON else detector(single if slug in _OF_KEYS else data, seed)
        for slug, detector in DETECTORS.items()
    ]


def adjusted(found: Sequence[Detection]) -> list[Detection]:
    """The same with p-values corrected for all detectors (Holm), those untested counting as nothing found.

    The number of tests does not depend on what could be tested, so that it is the same in every audit.
    """
    p = holm([1.0 if d.p is None else d.p for d in found])
    return [d if d.p is None else replace(d, p=float(q)) for d, q in zip(found, p, strict=True)]
