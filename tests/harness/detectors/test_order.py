"""Keys that depend on whose they are and when they were made: each is found, its sound twin is not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from harness.contracts import Array
from harness.detectors import Evidence, detections
from harness.detectors.circumstances import key_circumstances
from harness.detectors.counter import key_counter
from harness.detectors.detection import Detection
from harness.detectors.marginals import bit_marginals
from harness.detectors.order import consecutive, session_rank
from harness.detectors.person import key_subject
from harness.detectors.tails import LEVEL


def heard(found: Detection) -> bool:
    assert found.p is not None, found.untested
    return found.p <= LEVEL


def bits(values: Array, width: int) -> Array:
    """(rows,) numbers to (rows, width) bits, the highest first."""
    return (values[:, None] >> np.arange(width)[::-1] & 1).astype(np.uint8)


def changed(data: Evidence, at: Any, value: Any) -> Evidence:
    keys = data.keys.copy()
    keys[:, at] = value
    return replace(data, keys=keys)


def test_key_bits_that_stay_with_the_person(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    own = rng.integers(0, 2, (60, 5), dtype=np.uint8)[data.subject]
    found = key_subject(changed(data, slice(50, 55), own))
    assert heard(found)
    assert "key bits 50-54" in found.text
    assert 4 < found.bits <= 5
    assert not heard(key_subject(data))


def test_keys_near_a_template_of_the_person(sound: Any, rng: np.random.Generator) -> None:
    """No bit is heard alone at a flip in 2.4, all together are."""
    data = sound()
    template = rng.integers(0, 2, (60, 128), dtype=np.uint8)[data.subject]
    near = template ^ (rng.random((600, 128)) < 0.42)
    found = key_subject(replace(data, keys=near.astype(np.uint8)))
    assert heard(found)


def test_the_same_key_again_is_no_flaw_by_itself(sound: Any, rng: np.random.Generator) -> None:
    """Sixty people with two keys each, five times either: as good as two keys each."""
    data = sound()
    two = rng.integers(0, 2, (120, 128), dtype=np.uint8)[data.subject * 2 + np.arange(600) % 2]
    for detector in (key_subject, key_counter):
        assert not heard(detector(replace(data, keys=two)))


def test_what_leans_alike_in_everybodys_keys_is_not_the_persons(
    sound: Any, rng: np.random.Generator
) -> None:
    for share in (0.6, 0.75, 0.9):
        for people, each in ((60, 10), (12, 30)):
            data = sound(people=people, each=each)
            leaning = (rng.random(data.keys.shape) < share).astype(np.uint8)
            assert not heard(key_subject(replace(data, keys=leaning)))


def test_keys_that_share_bits_do_not_pass_for_a_bias(sound: Any, rng: np.random.Generator) -> None:
    data = sound(people=12, each=50)
    own = rng.integers(0, 2, (12, 60), dtype=np.uint8)[data.subject]
    mixed = changed(data, slice(0, 60), own)
    assert heard(bit_marginals(mixed))  # of twelve people's bits some lean
    told = {d.slug: d for d in detections(mixed, seed=0)}
    assert heard(told["key-subject"])
    for slug in ("key-bits", "key-bit-pairs", "key-blocks"):
        assert told[slug].p is None or not heard(told[slug])


def test_circumstances(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    noise = rng.random(600) < 0.25
    slow = data.seconds > 20
    cases = {
        "the number of the session": session_rank(data),
        "the number of the attempt": data.local & 1,
        "the time that sensing took": slow,
        "whether B accepted": data.accepted,
    }
    for what, value in cases.items():
        tied = changed(data, 99, value ^ (noise if "B" not in what else False))
        found = key_circumstances(tied)
        assert heard(found), what
        assert f"key bit 99 told by {what}" in found.text
    assert not heard(key_circumstances(data))
    alike = replace(data, session=data.subject, local=np.zeros(600, int), seconds=None, accepted=None)
    assert "alike" in str(key_circumstances(alike).untested)


def test_sessions_count_within_the_person(sound: Any) -> None:
    data = sound(people=2, each=4)
    named = replace(data, session=np.array([7, 7, 9, 9, 30, 30, 2, 2]), local=np.array([0, 1] * 4))
    assert session_rank(named).tolist() == [0, 0, 1, 1, 1, 1, 0, 0]
    first, second = consecutive(named)
    assert first.tolist() == [0, 1, 2, 6, 7, 4]
    assert second.tolist() == [1, 2, 3, 7, 4, 5]


def test_a_counter_in_the_key(sound: Any, rng: np.random.Generator) -> None:
    """From a random start for each person: no bit leans, but steps are all alike."""
    data = sound()
    start = rng.integers(0, 1 << 40, 60)[data.subject]
    counted = bits(start + np.arange(600) % 10, 64)
    for at in (slice(64, 128), slice(0, 64)):
        for value in (counted, counted[:, ::-1]):
            assert heard(key_counter(changed(data, at, value)))
    assert not heard(key_counter(data))


def test_a_wide_step_that_is_always_the_same(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    step = np.uint64(0x9E3779B97F4A7C15)
    start = rng.integers(0, 1 << 63, 60, dtype=np.uint64)[data.subject]
    value = start + step * (np.arange(600) % 10).astype(np.uint64)
    words = (value[:, None] >> np.arange(64, dtype=np.uint64)[::-1] & np.uint64(1)).astype(np.uint8)
    found = key_counter(changed(data, slice(64, 128), words))
    assert heard(found)
    assert "equal in" in found.text


def test_a_sum_over_gf2_that_is_always_the_same(sound: Any, rng: np.random.Generator) -> None:
    data = sound()
    base = rng.integers(0, 2, (60, 128), dtype=np.uint8)[data.subject]
    turn = (np.arange(600) % 10)[:, None]
    mask = rng.integers(0, 2, 128, dtype=np.uint8)
    other = rng.integers(0, 2, 128, dtype=np.uint8)
    keys = base ^ bits(turn[:, 0], 4)[:, 3:] * mask ^ bits(turn[:, 0], 4)[:, 2:3] * other
    assert heard(key_counter(replace(data, keys=keys)))


def test_a_shift_register(sound: Any, rng: np.random.Generator) -> None:
    """Each key is the one before, shifted, with one fresh bit."""
    data = sound()
    tape = rng.integers(0, 2, (60, 138), dtype=np.uint8)
    place = (np.arange(600) % 10)[:, None] + np.arange(128)
    found = key_counter(replace(data, keys=tape[data.subject[:, None], place]))
    assert heard(found)
    assert found.bits > 100


def test_a_linear_generator(sound: Any, rng: np.random.Generator) -> None:
    """The next key is a fixed linear map of the one before, each bit a sum of many."""
    step = rng.integers(0, 2, (128, 128))
    data = sound()
    keys = data.keys.copy()
    for row in range(1, 600):
        if data.subject[row] == data.subject[row - 1]:
            keys[row] = keys[row - 1] @ step % 2
    found = key_counter(replace(data, keys=keys))
    assert heard(found)
    assert "128 exact relations" in found.text


def test_bits_tied_within_a_key_do_not_follow_from_the_key_before(sound: Any) -> None:
    data = sound()
    assert not heard(key_counter(changed(data, 90, data.keys[:, 5] ^ data.keys[:, 6])))


@pytest.mark.parametrize("key_bits", [1, 3, 4, 8, 12])
def test_short_keys_are_no_flaw(sound: Any, key_bits: int) -> None:
    data = sound(key_bits=key_bits)
    for detector in (key_subject, key_counter, key_circumstances):
        assert not heard(detector(data))


def test_too_few_say_how_many_would_do(sound: Any) -> None:
    assert "8 keys" in str(key_subject(sound(people=3, each=3)).untested)
    few = sound(people=3, each=2)
    for detector in (key_subject, key_counter, key_circumstances):
        assert "could show it" in str(detector(few).untested)
    alone = sound(people=60, each=1)
    assert "there are 0" in str(key_subject(alone).untested)
