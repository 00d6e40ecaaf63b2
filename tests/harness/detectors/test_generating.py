"""Keys made again: on copies, from every witness, and from another place in the batch."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
from tests_support import exchanged

from fixtures.controls import SignCommitment
from harness.contracts import Array, Helper, Witness
from harness.detectors import SLUGS, adjusted, detect, evidence, generations
from harness.detectors.repeats import key_repeats
from harness.detectors.tails import LEVEL
from harness.errors import ContractError
from harness.exchange import Honest


@dataclass
class Simple:
    """A key of fresh coins under the witness, which every device has without error."""

    name: str = "simple"
    key_bits: int = 23
    signal: str = "value"
    calls: list[Any] = field(default_factory=list)

    def witness(self, capture: Any) -> Witness:
        raise NotImplementedError

    def coins(self, rows: int, rng: np.random.Generator) -> Array:
        return rng.integers(0, 2, (rows, self.key_bits), dtype=np.uint8)

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        self.calls.append(len(witness.symbols))
        keys = self.coins(len(witness.symbols), rng)
        return keys, {"masked": keys[:, :23] ^ witness.symbols}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        keys = np.zeros((len(witness.symbols), self.key_bits), np.uint8)
        keys[:, :23] = helper["masked"] ^ witness.symbols
        return keys, np.ones(len(keys), bool)


class OwnCoins(Simple):
    """Tosses coins of its own, the same in every instance."""

    def coins(self, rows: int, rng: np.random.Generator) -> Array:
        return np.random.default_rng(7).integers(0, 2, (rows, self.key_bits), dtype=np.uint8)


class SmallSeed(Simple):
    """Stretches 2^16 seeds by a generator."""

    def coins(self, rows: int, rng: np.random.Generator) -> Array:
        seeds = rng.integers(0, 1 << 16, rows).tolist()
        return np.stack(
            [np.random.default_rng(s).integers(0, 2, self.key_bits, dtype=np.uint8) for s in seeds]
        )


class Gives(Simple):
    """Gives up now and then, and says so."""

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        keys, helper = super().generate(witness, rng=rng)
        up = rng.random(len(keys)) < 0.25
        return keys * ~up[:, None], {**helper, "aborted": up}


class Breaks(Simple):
    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        if len(self.calls) == 0 and len(witness.symbols) == 60:
            return super().generate(witness, rng=rng)
        raise RuntimeError("no more")


@dataclass
class Talks:
    """Two rounds: A's coins under A's witness, B's echo."""

    name: str = "talks"
    key_bits: int = 23
    signal: str = "value"

    def agree(
        self, a: Witness, b: Witness, *, rng: np.random.Generator
    ) -> tuple[Array, Array, Array, Helper]:
        assert np.array_equal(a.symbols, b.symbols)  # of the same attempt, in whatever order
        keys = rng.integers(0, 2, a.symbols.shape, dtype=np.uint8)
        sent = keys ^ a.symbols
        return keys, sent ^ b.symbols, np.ones(len(keys), bool), {"sent": sent}


def honest_of(scheme: Any, rows: int = 60, people: int = 12) -> Honest:
    return exchanged(scheme, rows=rows, people=people)


def test_as_many_as_asked_for_from_every_witness_on_copies() -> None:
    scheme = Simple()
    honest = honest_of(scheme)
    made = generations(scheme, honest, seed=0, least=100)
    assert made is not None
    assert np.bincount(made.row).tolist() == [2] * 60
    assert made.keys.shape == (120, 23)
    assert scheme.calls == [60]  # its own run alone: the others were on copies
    again = generations(scheme, honest, seed=0, least=100)
    assert again is not None
    assert np.array_equal(made.keys, again.keys)
    other = generations(scheme, honest, seed=1, least=100)
    assert other is not None
    assert not np.array_equal(made.keys, other.keys)
    assert not np.array_equal(made.keys[:60], made.keys[60:])


def test_rows_name_their_witness() -> None:
    """The key is the witness here, so each generation must equal the key of the row it names."""

    class Itself(Simple):
        def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
            return witness.symbols.copy(), {"masked": np.zeros_like(witness.symbols)}

    honest = honest_of(Itself())
    failed = np.ones(60, bool)
    failed[[3, 40]] = False
    some = replace(honest, a=replace(honest.a, acquired=failed))
    made = generations(Itself(), some, seed=0, least=100)
    assert made is not None
    assert np.array_equal(made.keys, evidence(some).keys[made.row])
    assert evidence(some).attempts == 58


def test_nothing_established_makes_nothing() -> None:
    honest = honest_of(Simple())
    none = replace(honest, a=replace(honest.a, acquired=np.zeros(60, bool)))
    assert generations(Simple(), none, seed=0) is None
    told = detect(Simple(), none, seed=0)
    assert [d.slug for d in told] == list(SLUGS)
    assert {d.untested for d in told} == {"no attempt established a key"}


def test_given_up_generations_are_left_out() -> None:
    honest = honest_of(Gives())
    made = generations(Gives(), honest, seed=0, least=1000)
    assert made is not None
    assert 0.6 * 1020 < len(made.keys) < 0.9 * 1020
    assert made.keys.any(axis=1).all()
    assert "aborted" not in evidence(honest).helper
    assert evidence(honest).attempts == int((~honest.helper["aborted"]).sum())


def test_coins_tied_to_the_instance_are_found() -> None:
    """Two people get the same key wherever they stand in the same place of a batch."""
    honest = honest_of(OwnCoins(key_bits=23))
    found = key_repeats(evidence(honest, generations(OwnCoins(), honest, seed=0, least=2000)))
    assert found.p is not None
    assert found.p <= LEVEL


def test_a_scheme_with_a_small_seed_is_found_by_what_is_generated() -> None:
    scheme = SmallSeed(key_bits=64)
    told = {d.slug: d for d in adjusted(detect(scheme, honest_of(scheme), seed=0))}
    flagged = {slug for slug, d in told.items() if d.p is not None and d.p <= 0.001}
    assert flagged == {"key-repeats"}
    assert told["key-repeats"].bits == pytest.approx(48, abs=1)


def test_interactive_schemes_agree_again() -> None:
    rng = np.random.default_rng(0)
    honest = honest_of(Simple())
    keys, again, accepted, helper = Talks().agree(honest.a, honest.b, rng=rng)
    talked = replace(honest, keys_a=keys, keys_b=again, accepted=accepted, helper=helper)
    made = generations(Talks(), talked, seed=0, least=100)
    assert made is not None
    assert len(made.keys) == 120
    told = adjusted(detect(Talks(), talked, seed=0))
    assert all(d.p is None or d.p > 0.01 for d in told)


def test_a_scheme_that_breaks_fails_one_detector_and_no_other() -> None:
    scheme = Breaks()
    honest = honest_of(scheme)
    with pytest.raises(ContractError, match="no more"):
        generations(scheme, honest, seed=0)
    told = {d.slug: d for d in detect(scheme, honest, seed=0)}
    assert "no more" in str(told["key-repeats"].failed)
    assert all(d.failed is None for d in told.values() if d.slug != "key-repeats")
    assert told["key-bits"].p is not None


def test_a_code_offset_on_a_fresh_source_is_sound_and_on_a_lasting_one_not() -> None:
    scheme = SignCommitment()
    for lasting in (False, True):
        honest = exchanged(scheme, rows=360, people=36)
        if lasting:
            one = honest.a.symbols[honest.subject * 10]
            witness = replace(honest.a, symbols=one)
            keys, helper = scheme.generate(witness, rng=np.random.default_rng(1))
            honest = replace(honest, a=witness, b=witness, keys_a=keys, keys_b=keys, helper=helper)
        told = {d.slug: d for d in adjusted(detect(scheme, honest, seed=0))}
        flagged = {slug for slug, d in told.items() if d.p is not None and d.p <= 0.01}
        # if the witness stays, who holds one key of a person reads the next off the helper data; to others
        # they tell nothing, though in each person a key bit goes with its helper bit one way or the other
        assert flagged == ({"helper-steps"} if lasting else set())


def test_holm_counts_the_untested_too() -> None:
    honest = exchanged(SignCommitment(), rows=360, people=36)
    told = detect(SignCommitment(), honest, seed=0)
    one = [replace(d, p=1e-5, untested=None) if i == 0 else d for i, d in enumerate(told)]
    assert adjusted(one)[0].p == pytest.approx(len(SLUGS) * 1e-5)
