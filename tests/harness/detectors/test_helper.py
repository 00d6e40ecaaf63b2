"""Flaws planted in what is published: each is found and named, and its sound twin is not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from harness.contracts import Array
from harness.detectors import Evidence
from harness.detectors.affine import affine_relations
from harness.detectors.detection import Detection
from harness.detectors.helper_bits import first_elements, helper_bits, helper_numbers
from harness.detectors.learned import learned_map
from harness.detectors.linked import helper_linkage
from harness.detectors.relations import relations
from harness.detectors.steps import helper_steps
from harness.detectors.tails import LEVEL
from harness.detectors.values import helper_values


def heard(found: Detection) -> bool:
    assert found.p is not None, found.untested
    return found.p <= LEVEL


def publishing(data: Evidence, **arrays: Array) -> Evidence:
    return replace(data, helper={**data.helper, **arrays})


def number(bits: Array) -> Array:
    return np.asarray(bits @ (1 << np.arange(bits.shape[1])[::-1]))


def test_a_key_bit_published_under_another_and_a_helper_bit(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    offset = np.array(data.helper["offset"])
    mask = rng.integers(0, 2, 600, dtype=np.uint8)
    tag = np.stack([mask, data.keys[:, 3] ^ data.keys[:, 9] ^ mask ^ 1], axis=1)
    offset[:, 2, 5] = data.keys[:, 40] ^ offset[:, 0, 0] ^ offset[:, 1, 1]
    found = affine_relations(publishing(data, tag=tag, offset=offset))
    assert heard(found)
    assert found.bits == 2
    for word in ("3, 9 and 40", "`tag`", "`offset`[0]", "`offset`[25]", "`offset`[53]"):
        assert word in found.text
    assert not heard(helper_values(publishing(data, tag=tag, offset=offset)))  # no single bit tells
    assert not heard(affine_relations(data))


def test_relations_inside_an_array_longer_than_attempts(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    long = rng.integers(0, 2, (600, 2000), dtype=np.uint8)
    long[:, 1001] = long[:, 1000] ^ data.keys[:, 5] ^ data.keys[:, 6]
    found = affine_relations(publishing(data, long=long))
    assert heard(found)
    assert "key bits 5 and 6 following from `long`[1000], `long`[1001]" in found.text
    assert "would need" in found.text


def test_a_constant_key_bit_is_a_relation_without_helper_bits(sound: Any) -> None:
    data = sound()
    keys = data.keys.copy()
    keys[:, 7] = 1
    found = affine_relations(replace(data, keys=keys))
    assert heard(found)
    assert "key bit 7 constant" in found.text


def test_too_few_attempts_for_relations_say_how_many_would_do(sound: Any) -> None:
    few = sound(people=12)
    found = affine_relations(few)
    assert found.p is None
    assert f"{32 + 128 + 1 + 20} attempts" in str(found.untested)  # `index` has the fewest bits, 32
    enough = sound(people=19)  # 190
    assert affine_relations(enough).p is not None


@pytest.mark.parametrize("seed", range(3))
def test_the_rank_is_right(seed: int) -> None:
    rng = np.random.default_rng(seed)
    known = rng.integers(0, 2, (200, 90), dtype=np.uint8)
    known[:, 80:] = known[:, :10] ^ known[:, 10:20]
    wanted = rng.integers(0, 2, (200, 50), dtype=np.uint8)
    chosen = rng.integers(0, 2, (90, 3), dtype=np.uint8)
    wanted[:, 47:] = known @ chosen % 2 ^ wanted[:, :3] ^ 1
    seen = relations(known, wanted)
    assert seen.count == 3
    assert seen.free == 200 - 81
    assert seen.chance < 2.0 ** -(3 * 60)
    total = known @ seen.of_known.T.astype(int) + wanted @ seen.of_wanted.T.astype(int)
    assert (total % 2 == total[0] % 2).all()


def test_dependence_by_chance_is_as_rare_as_said() -> None:
    """With two rows to spare a relation appears in fewer than 2^-2 of cases, and the bound says so."""
    rng = np.random.default_rng(1)
    count = 0
    for _ in range(400):
        seen = relations(
            rng.integers(0, 2, (63, 40), dtype=np.uint8), rng.integers(0, 2, (63, 20), dtype=np.uint8)
        )
        count += seen.count > 0
        assert seen.count == 0 or seen.chance >= 2.0 ** -(seen.count * (seen.free - 20 + seen.count))
    assert 0.1 < count / 400 < 0.35


def test_a_float_that_goes_with_a_key_bit(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    for scale in (1.0, 1e-9, -3e5):
        soft = np.array(data.helper["soft"])
        soft[:, 6] = scale * (soft[:, 6] + 0.6 * data.keys[:, 11])
        found = helper_values(publishing(data, soft=soft))
        assert heard(found)
        assert "key bit 11 " in found.text
        assert "`soft`[6]" in found.text
    assert not heard(helper_values(data))


def test_a_float_whose_size_or_last_digit_tells_a_key_bit(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    soft = np.array(data.helper["soft"])
    soft[:, 2] *= 1 + data.keys[:, 30]
    found = helper_values(publishing(data, soft=soft))
    assert heard(found)
    assert "key bit 30" in found.text
    soft = np.array(data.helper["soft"])
    words = soft[:, 4].copy().view(np.uint64)
    soft[:, 4] = (words & ~np.uint64(1) | data.keys[:, 31].astype(np.uint64)).view(float)
    found = helper_values(publishing(data, soft=soft))
    assert heard(found)
    assert "stored bit 0" in found.text


def test_a_published_key_bit_under_noise(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    hint = (data.keys[:, 77] ^ (rng.random(600) < 0.3)).astype(np.uint8)
    found = helper_values(publishing(data, hint=hint))
    assert heard(found)
    assert "key bit 77 told by `hint`[0]" in found.text
    assert 0 < found.bits < 0.12  # 1 - h(.3) = .119


def test_an_index_that_tells_a_key_nibble(sound: Any, rng: np.random.Generator) -> None:
    """Through a substitution without linear parts that single bits would show."""
    data = sound()
    index = np.array(data.helper["index"])
    secret = rng.permutation(16)
    index[:, 5] = secret[number(data.keys[:, 20:24])]
    found = learned_map(publishing(data, index=index), seed=0)
    assert heard(found)
    assert "key bits 20-23" in found.text
    assert "`index`[5]" in found.text
    assert 3 < found.bits <= 4
    assert not heard(learned_map(data, seed=0))


def test_a_byte_that_stands_for_a_key_byte(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    code = rng.permutation(256)[number(data.keys[:, 8:16])]
    assert heard(learned_map(publishing(data, code=code), seed=0))


def test_many_faint_hints_are_learned_together(sound: Any, rng: np.random.Generator) -> None:
    """Each number says a little of one key bit, too little to be heard alone."""
    data = sound(helper=False)
    faint = rng.normal(size=(600, 128)) + 0.3 * data.keys
    hinted = publishing(data, faint=faint)
    found = learned_map(hinted, seed=0)
    assert heard(found)
    assert not heard(learned_map(publishing(data, faint=faint[rng.permutation(600)]), seed=0))


def test_a_persons_mask_hides_keys_but_not_their_steps(sound: Any, rng: np.random.Generator) -> None:
    data = sound(key_bits=64)
    mask = rng.integers(0, 2, (60, 64), dtype=np.uint8)[data.subject]
    masked = publishing(data, masked=data.keys ^ mask)
    assert heard(helper_steps(masked))
    assert "in `masked`" in helper_steps(masked).text
    assert not heard(helper_steps(data))


def test_a_persons_mask_is_told_from_what_is_the_same_in_everybody(
    sound: Any, rng: np.random.Generator
) -> None:
    for people, each in ((60, 10), (12, 50)):
        data = sound(people=people, each=each, key_bits=32)
        mask = rng.integers(0, 2, (people, 32), dtype=np.uint8)[data.subject]
        masked = publishing(data, masked=data.keys ^ mask)
        for found in (helper_values(masked), learned_map(masked, seed=0)):
            assert not heard(found)
        plain = publishing(data, masked=data.keys ^ (rng.random((600, 32)) < 0.3))
        for found in (helper_values(plain), learned_map(plain, seed=0)):
            assert heard(found)


def test_helper_data_that_tell_the_person(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    lasting = rng.normal(size=(60, 20))[data.subject] + rng.normal(size=(600, 20))
    assert heard(helper_linkage(publishing(data, soft=lasting), seed=0))
    assert not heard(helper_linkage(data, seed=0))
    assert "8 people" in str(helper_linkage(sound(people=7), seed=0).untested)
    once = replace(data, session=np.zeros(600, int))
    assert "got 0" in str(helper_linkage(once, seed=0).untested)


def test_without_helper_data_nothing_is_said(sound: Any) -> None:
    bare = sound(helper=False)
    same = publishing(bare, version=np.ones((600, 3)))
    for detector in (affine_relations, helper_values, helper_steps):
        assert "publishes no helper data" in str(detector(bare).untested)
        assert "varies" in str(detector(same).untested)
    assert "varies" in str(learned_map(same, seed=0).untested)
    assert "4 people" in str(learned_map(sound(people=3), seed=0).untested)


def test_public_numbers_as_bits() -> None:
    helper = {
        "a": np.array([[0, 5], [1, 6], [0, 7], [1, 4]]),
        "b": np.array([-2, 1, 0, -1]),
        "c": np.array([0.5, -1.5, np.nan, 2.5]),
        "d": np.array([2.0, 0.0, 0.0, 2.0]),
        "e": np.zeros((4, 0)),
        "f": np.array([1 + 0j, 1j, 0, 0]),
        "g": np.array([0, 1, 0, 1], bool),
    }
    bits, columns = helper_bits(helper)
    names = [str(c) for c in columns]
    assert bits.shape == (4, len(columns))
    assert names[:3] == ["`a`[0] (bit 0)", "`a`[1] (bit 0)", "`a`[1] (bit 1)"]
    assert "`b`[0] (bit 1)" in names  # -2, 1, 0, -1 in two's complement
    assert bits[:, names.index("`b`[0] (bit 1)")].tolist() == [1, 0, 0, 1]
    assert "`c`[0] (sign)" in names
    assert not any(n.startswith("`d`") for n in names)  # as `b` bit 1: told once
    assert not any(n.startswith("`g`") for n in names)  # as `a`[0]
    assert len({tuple(c) for c in bits.T.tolist()}) == len(columns)
    numbers, of = helper_numbers(helper)
    assert [str(c) for c in of] == ["`a`[1]", "`b`[0]", "`c`[0]"]
    assert np.isfinite(numbers).all()


def test_large_arrays_are_cut_and_it_is_said() -> None:
    helper = {"big": np.zeros((2, 50)), "small": np.zeros((2, 3)), "wide": np.zeros((2, 7, 10))}
    kept, said = first_elements(helper, most=43)
    assert {k: v.shape for k, v in kept.items()} == {"small": (2, 3), "big": (2, 20), "wide": (2, 20)}
    assert "the first 20 of 50 elements of `big` and the first 20 of 70 elements of `wide`" in said
    assert first_elements(helper)[1] == ""
