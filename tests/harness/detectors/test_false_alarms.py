"""Sound keys over many seeds: each detector's p-value is as rare as it says, and so is the least of all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom
from threadpoolctl import threadpool_limits

from harness.detectors import SLUGS, Evidence, Generated, adjusted, detections

SEEDS = 25


def many(make: Any) -> dict[str, list[float]]:
    """p-values by detector, and of the family, over seeds."""
    found: dict[str, list[float]] = {"family": []}
    for seed in range(SEEDS):
        with threadpool_limits(1):  # as in an audit
            told = detections(make(seed), seed=seed)
        for one in told:
            if one.p is not None:
                found.setdefault(one.slug, []).append(one.p)
        found["family"].append(min(d.p for d in adjusted(told) if d.p is not None))
    return found


def assert_rare(found: dict[str, list[float]]) -> None:
    """No more below .05, .01 than a binomial at that chance goes beyond once in 10^5."""
    for slug, p in found.items():
        for level in (0.05, 0.01):
            most = binom.isf(1e-5, len(p), level)
            assert (np.array(p) <= level).sum() <= most, (slug, level)


def test_uniform_keys(sound: Any) -> None:
    found = many(lambda seed: sound(seed, people=30, each=6, key_bits=32, turns=4))
    assert set(found) == {"family", *SLUGS}
    assert_rare(found)


@pytest.mark.parametrize("key_bits", [4, 12])
def test_uniform_short_keys(sound: Any, key_bits: int) -> None:
    assert_rare(many(lambda seed: sound(seed, people=20, each=8, key_bits=key_bits, turns=8)))


def test_keys_that_are_a_function_of_the_witness(sound: Any) -> None:
    """Generations of a witness repeat its key, and some attempts repeat a witness."""

    def repeating(seed: int) -> Evidence:
        data = sound(seed, people=30, each=6, key_bits=32)
        keys = np.array(data.keys)
        keys[1::3] = keys[::3]
        again = Generated(keys=np.tile(keys, (4, 1)), row=np.tile(np.arange(180), 4))
        return replace(data, keys=keys, generated=again)

    assert_rare(many(repeating))


def test_helper_data_that_depend_on_the_person_and_on_each_other(sound: Any) -> None:
    """Whatever the helper data are like, keys that ignore them are not tied to them."""

    def lopsided(seed: int) -> Evidence:
        rng = np.random.default_rng(seed)
        data = sound(seed, people=30, each=6, key_bits=32)
        heavy = rng.standard_cauchy((30, 12))[data.subject] * rng.choice([1, 1e6], (180, 12))
        rare = (rng.random((180, 12)) < 0.02).astype(np.uint8)
        copy = np.concatenate([rare, rare[:, ::-1], 1 - rare], axis=1)
        return replace(data, helper={"heavy": heavy, "rare": copy})

    found = many(lopsided)
    del found["helper-linkage"], found["family"]  # those data do tell the person
    assert_rare(found)


@pytest.mark.parametrize(
    ("key_bits", "people", "each"), [(1, 20, 10), (1200, 20, 5), (129, 2, 70), (64, 150, 1)]
)
def test_keys_of_any_length_and_people_of_any_number(
    sound: Any, key_bits: int, people: int, each: int
) -> None:
    found = adjusted(detections(sound(key_bits=key_bits, people=people, each=each, turns=3), seed=0))
    assert [d.slug for d in found] == list(SLUGS)
    assert all(d.p is None or d.p > 0.01 for d in found)
    assert all(d.bits == 0 for d in found)
