"""Other ways to break the same promises, and what is said of them."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
import pytest
from contract_breakers.sound_schemes import (
    SYMBOLS,
    Checked,
    Helped,
    Listed,
    Plain,
    Rounds,
    Sound,
    changed,
)

from fixtures.controls import Channel, SignCommitment
from harness import check_scheme
from harness.contracts import Witness


class Locked(Sound):
    def __init__(self) -> None:
        self.lock = threading.Lock()


class Unpicklable(Sound):
    def __deepcopy__(self, memo: Any) -> Any:
        return self

    def __reduce__(self) -> Any:
        return _refuses, ()


def _refuses() -> None:
    raise OSError("no such device")


class FailsApart(Sound):
    """Falls over where A is not."""

    here: list[bool] = []  # noqa: RUF012 - shared on purpose: this is the flaw

    def generate(self, witness: Any, *, rng: Any) -> Any:
        self.here.append(True)
        return super().generate(witness, rng=rng)

    def reproduce(self, witness: Any, helper: Any) -> Any:
        if not self.here:
            raise LookupError("nobody here")
        return super().reproduce(witness, helper)


class AcceptsTheAborted(Rounds):
    def agree(self, a: Any, b: Any, *, rng: Any) -> Any:
        keys, theirs, accepted, helper = super().agree(a, b, rng=rng)
        return keys, theirs, accepted, {**helper, "aborted": np.ones(len(keys), bool)}


class DrawsRoundsItself(Rounds):
    def agree(self, a: Any, b: Any, *, rng: Any) -> Any:
        return super().agree(a, b, rng=np.random.default_rng(3))


class StatesNonsense(Sound):
    corrects = -1


class StatesSymbols(Plain):
    corrects = 1


class StatesTooManySymbols(Plain):
    corrects = SYMBOLS


class TwoAlike(Sound):
    labels = np.zeros((2, 1), np.uint8)


class SecondCheckMissing(Checked):
    segments = np.repeat([0, 2], 3)


class SegmentsTooFew(Checked):
    segments = np.zeros(5, int)


class ConfirmsInNumbers(Checked):
    def confirm(self, keys: Any, helper: Any) -> Any:
        return super().confirm(keys, helper).astype(int)


class DeniesItsOwn(Checked):
    def confirm(self, keys: Any, helper: Any) -> Any:
        return ~super().confirm(keys, helper)


class HelpsWithHalf(Helped):
    def assisted(self, witness: Any, helper: Any) -> Any:
        found = super().assisted(witness, helper)
        return changed(found, symbols=found.symbols[:, :9])


class HelpsInCompany(Helped):
    def assisted(self, witness: Any, helper: Any) -> Any:
        found = super().assisted(witness, helper)
        return found if len(found.symbols) > 1 else changed(found, symbols=found.symbols ^ 1)


class SharpensToAList(Helped):
    def sharpen(self, log_prob: Any, helper: Any) -> Any:
        return log_prob.tolist()


class NeedsNone(Listed):
    needed = 0


class ListsInReals(Listed):
    def listed(self, helper: Any) -> Any:
        return super().listed(helper) * 1.0


class ListsOutside(Listed):
    def listed(self, helper: Any) -> Any:
        return super().listed(helper) + 1


class SomeFeatures(Plain):
    """Has features in batches alone."""

    def witness(self, capture: Any) -> Any:
        found = super().witness(capture)
        features = np.zeros((*found.symbols.shape, 1)) if len(found.symbols) > 1 else None
        return Witness(symbols=found.symbols, alphabet=2, acquired=found.acquired, features=features)


class OneAgainstAll(Rounds):
    """Adds a symbol to its alphabet for batches of one."""

    def witness(self, capture: Any) -> Any:
        found = super().witness(capture)
        alphabet = 3 if len(found.symbols) == 1 else 2
        return Witness(symbols=found.symbols, alphabet=alphabet, acquired=found.acquired)


MORE = [
    (Locked, "survives-pickling", "one that can be pickled"),
    (Unpicklable, "survives-pickling", "OSError: no such device"),
    (FailsApart, "fresh-process-agrees", "nobody here"),
    (AcceptsTheAborted, "failures-not-accepted", "False where A aborted"),
    (DrawsRoundsItself, "coins-from-the-stream", "at agree(), `keys`"),
    (StatesNonsense, "corrects-as-stated", "got -1"),
    (StatesTooManySymbols, "corrects-as-stated", f"with {SYMBOLS} errors"),
    (TwoAlike, "disclosure-well-formed", "two symbols with the same"),
    (SecondCheckMissing, "check-values-true", "got 2 checks"),
    (SegmentsTooFew, "check-values-true", "got int64 of shape (5,)"),
    (ConfirmsInNumbers, "check-values-true", "got int64 of shape (3, 2)"),
    (DeniesItsOwn, "check-values-true", "True for A's own key"),
    (HelpsWithHalf, "help-keeps-the-witness", "got 9 of 2"),
    (HelpsInCompany, "help-keeps-the-witness", "alone as in a batch"),
    (SharpensToAList, "sharper-beliefs-normalised", "got list"),
    (NeedsNone, "list-true", "`needed`: expected a whole number from 1 to 18, got 0"),
    (ListsInReals, "list-true", "got float64 of shape (3, 18)"),
    (ListsOutside, "list-true", "got 1..18"),
    (SomeFeatures, "witness-rows-stand-alone", "`features`"),
    (OneAgainstAll, "witness-rows-stand-alone", "`alphabet`"),
]


@pytest.mark.parametrize(("kind", "check", "told"), MORE)
def test_it_is_told(kind: Any, check: str, told: str, few: Channel) -> None:
    (found,) = check_scheme(kind(), corpus=few, only=[check])
    assert found.status == "broken"
    assert told in found.sentence


def test_errors_may_be_stated_in_symbols(few: Channel) -> None:
    (found,) = check_scheme(StatesSymbols(), corpus=few, only=["corrects-as-stated"])
    assert found.status == "held"


def test_what_cannot_be_sent_cannot_be_tried_elsewhere(few: Channel) -> None:
    (found,) = check_scheme(Locked(), corpus=few, only=["fresh-process-agrees"])
    assert found.status == "could-not-run"
    assert "see survives-pickling" in found.reason


def test_features_go_with_their_symbols() -> None:
    corpus = Channel(subjects=2, attempts=3)
    (found,) = check_scheme(SignCommitment(), corpus=corpus, only=["any-witness-agrees"])
    assert found.status == "held"


def test_one_attempt_is_no_batch() -> None:
    corpus = Channel(subjects=2, attempts=1)
    (found,) = check_scheme(Sound(), corpus=corpus, only=["sensing-time-rows-stand-alone"])
    assert found.status == "could-not-run"
