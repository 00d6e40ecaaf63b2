"""Plug-ins that leave, lie to the parent, or could be told apart by their name."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_A, DEVICE_B, Array, Capture, Guesses, Helper, View, Witness
from harness.errors import ContractError, UsageError
from harness.exchange import run_block
from harness.isolation import meet
from harness.plugins import resolve

_npy = io.BytesIO()
np.save(_npy, np.zeros((2, 1, 12), np.uint8))
SOUND = _npy.getvalue()

LIAR = '''
import os

class Liar:
    """Answers on the parent's line itself and leaves."""

    name, sees = "liar", frozenset({{"remote"}})

    def believe(self, view, *, rng):
        for line in range(3, 64):
            try:
                os.write(line, {answer!r})
            except OSError:
                continue
        os._exit(0)
'''


def pair(flip: int = 0) -> dict[str, Capture]:
    values = np.random.default_rng(1).standard_normal((4, 1, 23))
    other = values.copy()
    other[:, :, :flip] *= -1
    return {
        role: Capture(samples=x, rate_hz=1.0, signal="value", unit="1")
        for role, x in ((DEVICE_A, values), (DEVICE_B, other))
    }


class Plain:
    name, key_bits, signal = "plain", 23, "value"

    def witness(self, capture: Capture) -> Witness:
        bits = (capture.samples[:, 0] > 0).astype(np.uint8)
        return Witness(symbols=bits, alphabet=2, acquired=np.ones(len(bits), bool))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return witness.symbols.copy(), {}

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return witness.symbols.copy(), np.ones(len(witness.symbols), bool)


@pytest.mark.parametrize("member", ["witness", "generate", "reproduce"])
def test_a_scheme_that_leaves_fails_and_does_not_take_the_audit_along(member: str) -> None:
    def leave(self: Any, *_: Any, **__: Any) -> None:
        raise SystemExit(0)

    leaving = type("Leaving", (Plain,), {member: leave})()
    with pytest.raises(ContractError, match="SystemExit"):
        run_block(leaving, pair(), seed=0, sitting=0, subject=0, session=0)


@pytest.mark.parametrize("kind", ["scheme", "attack"])
def test_a_file_that_leaves_on_import_is_refused(tmp_path: Path, kind: str) -> None:
    file = tmp_path / f"leaves_{kind}.py"
    file.write_text("import sys\nsys.exit(0)\n", "utf-8")
    with pytest.raises(UsageError, match="must be importable, got SystemExit"):
        meet(str(file)) if kind == "attack" else resolve(kind, str(file))


@pytest.mark.parametrize(
    "answer",
    [
        b"{}\n",
        b'{"work": "0", "kind": "guesses"}\n',
        b"[1]\n",
        b'{"work": 0.0}\n',
        b'{"work": 0.0, "kind": "guesses"}\n\x93NUMPY\x01\x00',
        b'{"usage": "gone"}\n',
        b'{"work": "0", "kind": "guesses"}\n' + SOUND,
        b'{"work": 0.0, "about": ["witness"]}\n' + SOUND,
        b"[" * 100_000 + b"\n",
    ],
)
def test_what_a_stranger_says_on_the_parents_line_is_not_trusted(
    tmp_path: Path, scheme: SignCommitment, answer: bytes
) -> None:
    file = tmp_path / "liar.py"
    file.write_text(LIAR.format(answer=answer), "utf-8")
    stranger = meet(f"{file}:Liar")
    nothing = np.zeros(2, np.intp)
    view = View(scheme=scheme, attempts=2, subject=nothing, session=nothing, captures={}, helper={})
    with pytest.raises(ContractError) as told:
        stranger.believe(view, rng=np.random.default_rng(0))
    assert len(str(told.value)) < 600


def test_the_working_folder_stands_in_for_no_library(
    tmp_path: Path, plugins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "numpy.py").write_text("raise RuntimeError('not the library')\n", "utf-8")
    monkeypatch.chdir(tmp_path)
    assert meet(f"{plugins / 'thief.py'}:Thief").name == "thief"


def test_an_attempt_that_b_did_not_acquire_is_no_agreement() -> None:
    class Choosy(Plain):
        def witness(self, capture: Capture) -> Witness:
            bits = (capture.samples[:, 0] > 0).astype(np.uint8)
            loud = np.abs(capture.samples[:, 0]).max(axis=1) > 50
            return Witness(symbols=bits, alphabet=2, acquired=~loud)

    both = pair()
    values = both[DEVICE_B].samples.copy()
    values[2] *= 100  # the same signs, too loud for B
    loud = Capture(samples=values, rate_hz=1.0, signal="value", unit="1")
    found = run_block(Choosy(), {**both, DEVICE_B: loud}, seed=0, sitting=0, subject=0, session=0)
    assert found.established.all()
    assert found.agreed.tolist() == [True, True, False, True]


@dataclass(frozen=True)
class Gambler:
    """Guesses by its generator alone; keeps what it drew."""

    drawn: list[Any]
    name: str = "gambler"
    sees: frozenset[str] = frozenset()

    def __deepcopy__(self, memo: dict[int, Any]) -> Gambler:
        return self

    def believe(self, view: View, *, rng: np.random.Generator) -> Guesses:
        keys = rng.integers(0, 2, (view.attempts, 1, 12), dtype=np.uint8)
        self.drawn.append(keys)
        return Guesses(keys=keys)


def test_an_attacks_numbers_do_not_depend_on_the_schemes_name_or_company(people: Channel) -> None:
    def drawn(name: str, *more: Any) -> list[Any]:
        scheme = SignCommitment()
        object.__setattr__(scheme, "name", name)
        gambler = Gambler([])
        audit(scheme, attacks=[*more, gambler], corpus=people)
        return gambler.drawn

    alone = drawn("one")
    assert len({k.tobytes() for k in alone}) == len(alone)  # each fold its own
    for other in (drawn("two"), drawn("one", "population")):
        assert all(np.array_equal(a, b) for a, b in zip(alone, other, strict=True))
