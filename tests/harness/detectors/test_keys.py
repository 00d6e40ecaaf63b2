"""Flaws planted in the keys alone: each is found, and its sound twin is not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from harness.detectors import Evidence, Generated
from harness.detectors.blocks import block_modes
from harness.detectors.detection import Detection
from harness.detectors.marginals import bit_marginals, bit_pairs
from harness.detectors.repeats import key_repeats
from harness.detectors.tails import LEVEL, advantage, bits_of


def heard(found: Detection) -> bool:
    assert found.p is not None, found.untested
    return found.p <= LEVEL


def most_of_600(key_bits: int) -> float:
    """Bits that 600 keys can show of a pair that is always equal."""
    return float(bits_of(advantage(1.0, 600, key_bits * (key_bits - 1) // 2)))


def with_keys(data: Evidence, change: Any) -> Evidence:
    """The same with `change` applied to all keys, honest and generated."""
    made = data.generated
    again = None if made is None else Generated(keys=change(made.keys.copy()), row=made.row)
    return replace(data, keys=change(data.keys.copy()), generated=again)


def test_a_biased_bit(sound: Any, rng: np.random.Generator) -> None:
    def bias(keys: Any) -> Any:
        keys[:, 17] = rng.random(len(keys)) < 0.7
        return keys

    found = bit_marginals(with_keys(sound(), bias))
    assert heard(found)
    assert "key bit 17" in found.text
    assert 0 < found.bits <= 1 + 0.7 * np.log2(0.7) + 0.3 * np.log2(0.3)  # a lower limit
    assert not heard(bit_marginals(sound()))


def test_further_generations_find_a_smaller_bias(sound: Any, rng: np.random.Generator) -> None:
    def bias(keys: Any) -> Any:
        keys[:, 17] = rng.random(len(keys)) < 0.56
        return keys

    assert not heard(bit_marginals(with_keys(sound(), bias)))
    assert heard(bit_marginals(with_keys(sound(turns=14), bias)))


def test_a_small_lean_of_all_bits_and_one_of_mixed_signs(sound: Any, rng: np.random.Generator) -> None:
    alike = with_keys(sound(), lambda keys: (rng.random(keys.shape) < 0.52).astype(np.uint8))
    assert heard(bit_marginals(alike))
    share = np.where(np.arange(128) % 2, 0.54, 0.46)
    mixed = with_keys(sound(), lambda keys: (rng.random(keys.shape) < share).astype(np.uint8))
    assert heard(bit_marginals(mixed))


def test_a_constant_bit_gives_away_one_bit(sound: Any) -> None:
    def fix(keys: Any) -> Any:
        keys[:, 3] = 1
        return keys

    found = bit_marginals(with_keys(sound(turns=14), fix))
    assert found.bits == pytest.approx(1.0, abs=0.2)
    assert found.bits <= 1


def test_a_witness_that_repeats_its_key_is_one_observation(sound: Any) -> None:
    """Fourteen times the same six hundred keys are six hundred keys: bits lean no more than before."""
    data = sound()
    repeated = Generated(keys=np.tile(data.keys, (14, 1)), row=np.tile(np.arange(600), 14))
    again = replace(data, generated=repeated)
    for detector in (bit_marginals, bit_pairs, key_repeats):
        assert not heard(detector(again))


def test_a_person_with_one_lasting_key_is_no_bias(sound: Any) -> None:
    """Sixty keys ten times each: their bits stray as those of sixty, which six hundred would not."""
    data = sound()
    lasting = replace(data, keys=np.repeat(data.keys[:60], 10, axis=0))
    for detector in (bit_marginals, bit_pairs, block_modes, key_repeats):
        found = detector(lasting)
        assert found.p is None or not heard(found)


def test_pairs_that_are_equal_or_tied(sound: Any, rng: np.random.Generator) -> None:
    def double(keys: Any) -> Any:
        keys[:, 64:] = keys[:, :64]
        return keys

    found = bit_pairs(with_keys(sound(), double))
    assert heard(found)
    assert found.bits == pytest.approx(64 * most_of_600(128))
    assert "64 pairs" in found.text

    def tie(keys: Any) -> Any:
        keys[:, 90] = keys[:, 5] ^ (rng.random(len(keys)) < 0.3)
        return keys

    found = bit_pairs(with_keys(sound(), tie))
    assert heard(found)
    assert "5 and 90" in found.text
    assert not heard(bit_pairs(sound()))


def test_a_ring_of_ties_is_not_counted_twice(sound: Any) -> None:
    def same(keys: Any) -> Any:
        keys[:, 1:8] = keys[:, :1]
        return keys

    found = bit_pairs(with_keys(sound(turns=14), same))
    assert found.bits == pytest.approx(7 * most_of_600(128))


def test_a_nibble_and_a_byte_that_are_too_frequent(sound: Any, rng: np.random.Generator) -> None:
    for width, share in ((4, 0.1), (8, 0.06)):

        def favour(keys: Any, width: int = width, share: float = share) -> Any:
            at = slice(10 * width, 11 * width)
            often = rng.random(len(keys)) < share
            word = np.arange(width) % 3 % 2
            keys[:, at] = np.where(often[:, None], word, keys[:, at])
            return keys

        found = block_modes(with_keys(sound(), favour))
        assert heard(found)
        assert f"{10 * width}-" in found.text or "whichever block" in found.text
        assert found.bits > 0
    assert not heard(block_modes(sound()))


def test_letters_in_every_byte(sound: Any, rng: np.random.Generator) -> None:
    """Bytes from 200 values: no bit and no single byte is far off, all bytes together are."""
    values = rng.permutation(256)[:160].astype(np.uint8)

    def letters(keys: Any) -> Any:
        return np.unpackbits(values[rng.integers(0, 160, (len(keys), 16)) ** 2 // 160], axis=1)

    assert heard(block_modes(with_keys(sound(), letters)))


def test_keys_of_one_weight(sound: Any, rng: np.random.Generator) -> None:
    def balanced(keys: Any) -> Any:
        return rng.permuted(np.tile(np.arange(128) % 2, (len(keys), 1)), axis=1).astype(np.uint8)

    found = block_modes(with_keys(sound(), balanced))
    assert heard(found)
    assert "exactly 64 ones" in found.text
    assert found.bits == pytest.approx(-np.log2(0.0704), abs=0.3)  # C(128, 64) keys


def seeded(bits: int, rng: np.random.Generator, *, width: int = 128, at: slice = slice(None)) -> Any:
    """Keys of which `at` is stretched from so many bits by a generator."""

    def stretch(seed: int) -> Any:
        return np.random.Generator(np.random.PCG64(seed)).integers(0, 2, width, dtype=np.uint8)[at]

    def make(rows: int) -> Any:
        keys = rng.integers(0, 2, (rows, width), dtype=np.uint8)
        if rows:
            keys[:, at] = np.stack([stretch(int(s)) for s in rng.integers(0, 1 << bits, rows)])
        return keys

    return make


@pytest.mark.parametrize("bits", [16, 20])
def test_a_small_seed(sound: Any, rng: np.random.Generator, bits: int) -> None:
    data = sound(turns=14, keys_of=seeded(bits, rng))
    found = key_repeats(data)
    assert heard(found)
    assert found.bits == pytest.approx(128 - bits, abs=1)
    assert found.bits <= 128 - bits + 0.1
    for blind in (bit_marginals, bit_pairs, block_modes):
        assert not heard(blind(data))


@pytest.mark.parametrize("at", [slice(32, 64), slice(1, None, 2), slice(40, 104)])
def test_a_small_seed_of_a_part(sound: Any, rng: np.random.Generator, at: slice) -> None:
    found = key_repeats(sound(turns=14, keys_of=seeded(16, rng, at=at)))
    assert heard(found)
    assert 14 < found.bits < len(range(128)[at]) - 15


def test_a_seed_is_not_found_without_further_generations(sound: Any, rng: np.random.Generator) -> None:
    """Six hundred keys of 2^20 show no repeat in four of five audits: so the harness draws more."""
    assert not heard(key_repeats(sound(keys_of=seeded(20, rng))))


def test_repeats_within_a_person_do_not_count(sound: Any) -> None:
    data = sound(turns=14)
    lasting = np.repeat(data.keys[::10], 10, axis=0)
    own = Generated(keys=lasting[data.generated.row], row=data.generated.row)
    assert not heard(key_repeats(replace(data, keys=lasting, generated=own)))


def test_short_keys_repeat_by_chance(sound: Any) -> None:
    for key_bits in (2, 4, 8, 12, 20):
        assert not heard(key_repeats(sound(key_bits=key_bits, turns=14)))


def test_too_few_say_how_many_would_do(sound: Any) -> None:
    few = sound(people=4, each=3)
    for detector in (bit_marginals, bit_pairs, block_modes):
        found = detector(few)
        assert found.p is None
        assert "attempts with keys of their own could show it, and there are 12" in str(found.untested)
    assert "one person" in str(key_repeats(sound(people=1)).untested)
