"""Each scheme-blind rule on the keys and helper data of a whole corpus, and on the same without the tie."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from sound_evidence import sound_evidence

from harness.blind_findings import detector_findings
from harness.contracts import Array
from harness.detectors import SLUGS, Detection, Evidence, adjusted
from harness.detectors.family import DETECTORS
from harness.results import Finding
from harness.rules import BLIND, SHARE

Planted = Callable[[Evidence, np.random.Generator, bool], Evidence]


def said(slug: str, data: Evidence) -> set[str]:
    """By one detector, corrected for all: what the others say is proved beside them."""

    def say(id: str, severity: str, text: str, **details: Any) -> Finding:
        return Finding(id=id, severity=severity, scheme="s", attack=None, text=text, details=details)

    others = [Detection(slug=other, untested="not asked") for other in SLUGS if other != slug]
    found = adjusted([DETECTORS[slug](data, 0), *others])
    return {f.id for f in detector_findings(found, say, key_bits=data.key_bits, level=SHARE)}


def published(data: Evidence, value: Array) -> Evidence:
    return replace(data, helper={**data.helper, "told": value})


def keyed(data: Evidence, at: Any, value: Array) -> Evidence:
    keys = data.keys.copy()
    keys[:, at] = value
    return replace(data, keys=keys)


def shuffled(values: Array, rng: np.random.Generator, tied: bool) -> Array:
    """The same values, of other attempts unless they are tied."""
    return values if tied else values[rng.permutation(len(values))]


def bias(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    return keyed(data, 7, rng.random(600) < (0.65 if tied else 0.5))


def pairs(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    return keyed(data, 90, shuffled(data.keys[:, 5] ^ (rng.random(600) < 0.3), rng, tied))


def blocks(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    """A byte takes one value in a tenth of attempts; of the neighbour a different one each time."""
    often = (rng.random(600) < 0.1)[:, None]
    word = np.arange(8) % 3 % 2 if tied else rng.integers(0, 2, (600, 8))
    return keyed(data, slice(80, 88), np.where(often, word, data.keys[:, 80:88]))


def repeats(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    """Two people share a key of 128 bits; of the neighbour one person has it twice."""
    keys = data.keys.copy()
    keys[10 if tied else 1] = keys[0]
    return replace(data, keys=keys)


def subject(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    """Eight bits last for a person; of the neighbour for an attempt."""
    own = rng.integers(0, 2, (600, 8))
    return keyed(data, slice(8), own[data.subject] if tied else own)


def circumstances(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    slow = np.asarray(data.seconds) > 20
    return keyed(data, 99, shuffled(slow ^ (rng.random(600) < 0.25), rng, tied))


def counter(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    count = rng.integers(0, 1 << 40, 60)[data.subject] + np.arange(600) % 10
    words = (count[:, None] >> np.arange(48)[::-1] & 1).astype(np.uint8)
    return keyed(data, slice(48), words if tied else rng.integers(0, 2, words.shape))


def affine(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    hidden = data.keys[:, 3:4] ^ data.keys[:, 40:41] ^ data.helper["offset"][:, 0, :1]
    return published(data, shuffled(hidden, rng, tied))


def values(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    return published(data, shuffled(data.keys[:, 3:4] ^ (rng.random((600, 1)) < 0.3), rng, tied))


def steps(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    """A person's key under a person's mask; of the neighbour under a mask for every attempt."""
    mask = rng.integers(0, 2, (600, 128), dtype=np.uint8)
    return published(data, data.keys ^ (mask[data.subject] if tied else mask))


def learned(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    faint = rng.normal(size=(600, 128)) + 0.3 * data.keys
    return replace(data, helper={"faint": shuffled(faint, rng, tied)})


def linkage(data: Evidence, rng: np.random.Generator, tied: bool) -> Evidence:
    lasting = rng.normal(size=(60, 20))[data.subject] + rng.normal(size=(600, 20))
    return published(data, shuffled(lasting, rng, tied))


PLANTED: Mapping[str, Planted] = {
    "key-bits": bias,
    "key-bit-pairs": pairs,
    "key-blocks": blocks,
    "key-repeats": repeats,
    "key-subject": subject,
    "key-circumstances": circumstances,
    "key-counter": counter,
    "helper-affine": affine,
    "helper-values": values,
    "helper-steps": steps,
    "helper-learned": learned,
    "helper-linkage": linkage,
}


@pytest.mark.parametrize("slug", SLUGS)
def test_a_tie_is_said_and_the_same_values_without_it_are_not(slug: str) -> None:
    def planted(tied: bool) -> Evidence:
        return PLANTED[slug](sound_evidence(), np.random.default_rng(8), tied)

    assert said(slug, planted(True)) == {BLIND + slug}
    assert said(slug, planted(False)) == set()
