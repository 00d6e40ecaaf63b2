"""Honest runs and strangers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures.controls import Channel, SignCommitment
from harness.contracts import ABORTED, DEVICE_A, DEVICE_B, Array, Capture, Helper, Witness
from harness.errors import ContractError
from harness.exchange import Honest, join, other_rows, run_block, strangers

RNG = np.random.default_rng(5)


def captures(rows: int = 4, flipped: int = 0) -> Mapping[str, Capture]:
    values = np.random.default_rng(1).standard_normal((rows, 1, 23))
    other = values.copy()
    other[:, :, :flipped] *= -1
    return {
        role: Capture(samples=x, rate_hz=1.0, signal="value", unit="1")
        for role, x in ((DEVICE_A, values), (DEVICE_B, other))
    }


def run(scheme: Any, flipped: int = 0, rows: int = 4, subject: int = 0) -> Honest:
    return run_block(scheme, captures(rows, flipped), seed=0, sitting=0, subject=subject, session=0)


class Plain:
    """Base of the schemes below: signs as they are."""

    name, key_bits, signal = "plain", 23, "value"

    def witness(self, capture: Capture) -> Witness:
        bits = (capture.samples[:, 0] > 0).astype(np.uint8)
        return Witness(symbols=bits, alphabet=2, acquired=np.ones(len(bits), bool))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return witness.symbols.copy(), {}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return witness.symbols.copy(), np.ones(len(witness.symbols), bool)


@pytest.mark.parametrize(("flipped", "agreed"), [(0, True), (3, True), (4, False)])
def test_agreement_is_what_the_code_corrects(flipped: int, agreed: bool) -> None:
    assert run(SignCommitment(), flipped).agreed.tolist() == [agreed] * 4


def test_an_attempt_not_acquired_is_no_agreement_and_no_key() -> None:
    class Deaf(Plain):
        def witness(self, capture: Capture) -> Witness:
            found = super().witness(capture)
            return Witness(symbols=found.symbols, alphabet=2, acquired=np.array([True, False, True, True]))

    found = run(Deaf())
    assert found.established.tolist() == [True, False, True, True]
    assert found.agreed.tolist() == [True, False, True, True]


def test_an_aborted_attempt_holds_no_key() -> None:
    class GivesUp(Plain):
        def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
            return witness.symbols.copy(), {ABORTED: np.array([False, True, False, False])}

    found = run(GivesUp())
    assert found.established.tolist() == [True, False, True, True]
    assert found.agreed.tolist() == [True, False, True, True]


def test_equal_keys_that_b_rejects_are_no_agreement() -> None:
    class Rejects(Plain):
        def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
            return witness.symbols.copy(), np.zeros(len(witness.symbols), bool)

    assert not run(Rejects()).agreed.any()


class Talks(Plain):
    """Both say their parity; equal witnesses agree."""

    generate = reproduce = None  # type: ignore[assignment]

    def agree(
        self, a: Witness, b: Witness, *, rng: np.random.Generator
    ) -> tuple[Array, Array, Array, Helper]:
        said = a.symbols.sum(axis=1) % 2
        return a.symbols.copy(), b.symbols.copy(), said == b.symbols.sum(axis=1) % 2, {"parity": said}


def test_an_interactive_scheme_runs() -> None:
    assert run(Talks()).agreed.all()
    assert not run(Talks(), 2).agreed.any()
    assert set(run(Talks()).helper) == {"parity"}


@pytest.mark.parametrize("scheme", [Plain(), Talks()])
def test_strangers_do_not_agree_and_are_never_oneself(scheme: Any) -> None:
    blocks = [
        run_block(
            scheme,
            {
                role: Capture(
                    samples=np.random.default_rng(person).standard_normal((4, 1, 23)),
                    rate_hz=1.0,
                    signal="value",
                    unit="1",
                )
                for role in (DEVICE_A, DEVICE_B)
            },
            seed=0,
            sitting=person,
            subject=person,
            session=0,
        )
        for person in range(3)
    ]
    honest = join("plain", blocks)
    assert honest.agreed.all()
    hit, other = strangers(scheme, honest, seed=0)
    assert not hit.any()
    assert (other != honest.subject).all()


def test_a_run_with_a_stranger_that_is_given_up_is_no_agreement() -> None:
    class Careful(Talks):
        """Gives up the second time it is asked of a batch of this size."""

        def agree(
            self, a: Witness, b: Witness, *, rng: np.random.Generator
        ) -> tuple[Array, Array, Array, Helper]:
            keys, others, _, said = super().agree(a, b, rng=rng)
            aborted = np.full(len(keys), len(keys) > 4)  # strangers are met in one batch
            return others, others, np.ones(len(keys), bool), {**said, ABORTED: aborted}

    honest = join("plain", [run(Careful(), subject=0), run(Careful(), subject=1)])
    assert honest.agreed.all()
    assert not strangers(Careful(), honest, seed=0)[0].any()


def test_strangers_agree_on_a_scheme_that_ignores_the_body() -> None:
    class Constant(Plain):
        def witness(self, capture: Capture) -> Witness:
            rows = len(capture.samples)
            return Witness(symbols=np.ones((rows, 23), np.uint8), alphabet=2, acquired=np.ones(rows, bool))

    honest = join("plain", [run(Constant(), subject=0), run(Constant(), subject=1)])
    assert strangers(Constant(), honest, seed=0)[0].all()


@given(subject=st.lists(st.integers(0, 6), min_size=2, max_size=30), seed=st.integers(0, 5))
def test_everyone_has_a_stranger(subject: list[int], seed: int) -> None:
    people = np.array(subject)
    if len(set(subject)) < 2:
        with pytest.raises(ValueError, match="at least two subjects"):
            other_rows(people, seed=seed)
        return
    assert (people[other_rows(people, seed=seed)] != people).all()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"generate": lambda self, w, *, rng: w.symbols}, "tuple of 2"),
        ({"generate": lambda self, w, *, rng: (w.symbols + 2, {})}, "integers in 0..1"),
        ({"generate": lambda self, w, *, rng: (w.symbols[:, :3], {})}, "keys of A"),
        ({"generate": lambda self, w, *, rng: (w.symbols, {"seed": "x"})}, "array of 4 rows"),
        ({"generate": lambda self, w, *, rng: (w.symbols, {"seed": np.zeros(3)})}, "array of 4 rows"),
        ({"generate": lambda self, w, *, rng: (w.symbols, [1])}, "mapping"),
        ({"generate": lambda self, w, *, rng: 1 / 0}, "ZeroDivisionError"),
        ({"reproduce": lambda self, w, h: (w.symbols, np.ones(4))}, "array of bool"),
        ({"witness": lambda self, c: None}, "a Witness"),
        (
            {
                "witness": lambda self, c: Witness(
                    symbols=np.full((4, 2), 2), alphabet=2, acquired=np.ones(4, bool)
                )
            },
            "integers in 0..1",
        ),
        (
            {
                "witness": lambda self, c: Witness(
                    symbols=np.ones((4, 0)), alphabet=2, acquired=np.ones(4, bool)
                )
            },
            "at least one symbol",
        ),
        (
            {
                "witness": lambda self, c: Witness(
                    symbols=np.ones((4, 2), int), alphabet=2, acquired=np.ones(4)
                )
            },
            "array of bool",
        ),
        ({"witness": lambda self, c: c.samples.fill(0)}, "read-only"),
    ],
)
def test_a_broken_promise_is_named(change: dict[str, Any], sentence: str) -> None:
    broken = type("Broken", (Plain,), change)()
    with pytest.raises(ContractError, match=sentence) as told:
        run(broken)
    assert str(told.value).startswith("plain: `")


def test_a_layout_that_changes_between_sittings_is_refused() -> None:
    class Varies(Plain):
        def witness(self, capture: Capture) -> Witness:
            bits = (capture.samples[:, 0, : len(capture.samples)] > 0).astype(np.uint8)
            return Witness(symbols=bits, alphabet=2, acquired=np.ones(len(bits), bool))

        def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
            return np.zeros((len(witness.symbols), 23), np.uint8), {}

        def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
            return np.zeros((len(witness.symbols), 23), np.uint8), np.ones(len(witness.symbols), bool)

    with pytest.raises(ContractError, match="4 symbols whatever the capture, got 5 symbols"):
        join("plain", [run(Varies(), rows=4), run(Varies(), rows=5)])


def test_the_same_seed_gives_the_same_coins_and_another_capture_others() -> None:
    people = Channel(subjects=1)
    first = people.sittings()[0]
    block = people.block(first, frozenset({"device-a:value", "device-b:value"}))
    both = {name.partition(":")[0]: sensed.capture for name, sensed in block.items()}
    options = {"seed": 0, "sitting": 0, "subject": 0, "session": 0}
    once, twice = (run_block(SignCommitment(), both, **options) for _ in range(2))
    assert np.array_equal(once.keys_a, twice.keys_a)
    louder = {
        r: Capture(samples=c.samples * 2, rate_hz=1.0, signal="value", unit="1") for r, c in both.items()
    }
    # same signs, other capture: knowing the seed does not give A's coins
    assert not np.array_equal(run_block(SignCommitment(), louder, **options).keys_a, once.keys_a)


class Quick(Plain):
    """Is done after seven of its 23 seconds; does not hear the last attempt."""

    needs: Any = 7.0

    def witness(self, capture: Capture) -> Witness:
        found = super().witness(capture)
        acquired = np.arange(len(found.symbols)) < len(found.symbols) - 1
        return Witness(symbols=found.symbols, alphabet=2, acquired=acquired)

    def sensing_seconds(self, capture: Capture) -> Any:
        return np.full(len(capture.samples), self.needs)


def test_a_scheme_may_need_only_a_part_of_a_capture() -> None:
    assert run(Plain()).seconds.tolist() == [23.0] * 4
    assert run(Quick()).seconds.tolist() == [7.0, 7.0, 7.0, 23.0]


@pytest.mark.parametrize("needs", [23.5, -1.0, np.nan, np.inf, "long"])
def test_a_time_that_cannot_be_is_refused(needs: Any) -> None:
    scheme = Quick()
    scheme.needs = needs
    with pytest.raises(ContractError, match=r"plain: `sensing_seconds\(\)` must be"):
        run(scheme)
