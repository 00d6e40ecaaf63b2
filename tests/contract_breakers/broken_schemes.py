"""A scheme for each promise of a scheme, which it breaks."""

import os
import tempfile

import numpy as np

from contract_breakers.broken_parts import (
    BlamesEverybody,
    BoastsOfItsCode,
    ChecksAllAtOnce,
    FallsOverSpikes,
    FinishesInCompany,
    FinishesTooWide,
    HelpsTooMuch,
    ListsOnePlace,
    NumbersNoChannel,
    RefusesNoughts,
    SensesByTurns,
    SensesTooLong,
    SensesTooShort,
    SharpensTooMuch,
    TellsAnotherSyndrome,
    WrongInTheLastBit,
)
from contract_breakers.sound_schemes import SYMBOLS, Sound, changed


class Misnamed(Sound):
    name = "broken\nname"


class FlagsAsNumbers(Sound):
    def witness(self, capture):
        found = super().witness(capture)
        return changed(found, acquired=found.acquired.astype(np.uint8))


class KeysOfTwos(Sound):
    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        return keys * 2, helper


class HelperAsList(Sound):
    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        return keys, {**helper, "more": keys.tolist()}


class FollowsTheLength(Sound):
    """As many symbols as there are samples."""

    def witness(self, capture):
        found = super().witness(capture)
        return changed(found, symbols=found.symbols[:, : capture.samples.shape[2]])


class TakesAnything(Sound):
    """Acquired as soon as there is a sample."""

    def witness(self, capture):
        first = capture.samples[:, 0, 0]
        return changed(super().witness(capture), acquired=np.isfinite(first))

    sensing_seconds = None


class HearsSilence(Sound):
    def witness(self, capture):
        found = super().witness(capture)
        return changed(found, acquired=found.acquired | np.isnan(capture.samples).all(axis=(1, 2)))


class FallsOverOnes(Sound):
    """Divides by the spread of samples; of noughts it knows."""

    def witness(self, capture):
        if (capture.samples == 1.0).all():
            raise ZeroDivisionError("no spread")
        return super().witness(capture)


class AcceptsTheLost(Sound):
    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        return keys, np.ones_like(accepted)


class DrawsFromTheSystem(Sound):
    def generate(self, witness, *, rng):
        return super().generate(witness, rng=np.random.default_rng(os.urandom(8)[0]))


class DrawsItsOwn(Sound):
    """Always the same coins, whatever the stream."""

    def generate(self, witness, *, rng):
        return super().generate(witness, rng=np.random.default_rng(12))


class WritesToItsInput(Sound):
    """Takes the mean off where it stands, if it may."""

    def witness(self, capture):
        found = super().witness(capture)
        if capture.samples.flags.writeable:
            capture.samples[:] += 1.0
        return found


class StirsTheGlobalCoins(Sound):
    def witness(self, capture):
        np.random.mtrand.random_sample()
        return super().witness(capture)


class SetsAVariable(Sound):
    """Once set it stays: later calls change nothing."""

    def generate(self, witness, *, rng):
        os.environ["CONTRACT_BREAKER"] = "1"
        return super().generate(witness, rng=rng)


class LeavesAFile(Sound):
    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        with open(os.path.join(tempfile.gettempdir(), "contract-breaker.txt"), "w") as file:
            file.write(str(keys.tolist()))
        return keys, helper


class ComparesPeople(Sound):
    """Signs against the mean of the whole batch."""

    def witness(self, capture):
        found = super().witness(capture)
        x = capture.samples[:, 0, :SYMBOLS]
        if x.shape[1] < SYMBOLS:
            return found
        with np.errstate(invalid="ignore"):
            mean = np.mean(np.where(np.isfinite(x), np.clip(x, -9, 9), 0.0))
        return changed(found, symbols=(x > mean).astype(np.uint8))


class NeedsCompany(Sound):
    """Accepts nobody who comes alone."""

    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        return keys, accepted & (len(keys) > 1)


class Remembers(Sound):
    """B accepts only helper data that the same object has published."""

    def __init__(self):
        self.seen = set()

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        self.seen.update(row.tobytes() for row in helper["masked"])
        return keys, helper

    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        known = np.array([row.tobytes() in self.seen for row in helper["masked"]], bool)
        return keys, accepted & known


class RemembersInItsClass(Sound):
    """The same, in a place that all copies share."""

    seen = set()  # noqa: RUF012 - shared on purpose: this is the flaw

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        self.seen.update(row.tobytes() for row in helper["masked"])
        return keys, helper

    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        known = np.array([row.tobytes() in self.seen for row in helper["masked"]], bool)
        return keys, accepted & known


class _Marked(np.ndarray):
    """An array that carries more than its numbers."""

    secret = None


class Smuggles(Sound):
    """B reads the key off an attribute of the array."""

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        marked = helper["masked"].view(_Marked)
        marked.secret = keys
        return keys, {"masked": marked}

    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        secret = getattr(helper["masked"], "secret", None)
        return (keys, accepted & False) if secret is None else (secret.copy(), accepted)


class LosesAParameter(Sound):
    """Comes out of a pickle, and of a copy, as it is by default."""

    def __init__(self, turned=0):
        self.turned = turned

    def __reduce__(self):
        return type(self), ()

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        return keys, {"masked": helper["masked"] ^ 0, "turned": np.full(len(keys), self.turned)}


BROKEN = {
    "members-there": (Misnamed, ()),
    "witness-well-formed": (FlagsAsNumbers, ()),
    "keys-well-formed": (KeysOfTwos, ()),
    "helper-well-formed": (HelperAsList, ()),
    "one-layout": (FollowsTheLength, ()),
    "short-captures-marked": (TakesAnything, ()),
    "silence-marked": (HearsSilence, ()),
    "odd-captures-answered": (FallsOverOnes, ()),
    "failures-not-accepted": (AcceptsTheLost, ()),
    # coins of the system's are others in every copy
    "same-stream-same-output": (DrawsFromTheSystem, ("survives-pickling",)),
    "coins-from-the-stream": (DrawsItsOwn, ()),
    # what happens to one attempt reaches the other
    "witness-rows-stand-alone": (ComparesPeople, ("any-capture-answered",)),
    "reproduced-rows-stand-alone": (NeedsCompany, ()),
    "copies-agree": (Remembers, ()),
    "fresh-process-agrees": (RemembersInItsClass, ()),
    "helper-suffices": (Smuggles, ()),
    "survives-pickling": (LosesAParameter, ()),
    # any witness is as good as an ordinary one
    "noise-free-agrees": (WrongInTheLastBit, ("any-witness-agrees",)),
    "corrects-as-stated": (BoastsOfItsCode, ()),
    "channels-numbered": (NumbersNoChannel, ()),
    "disclosure-well-formed": (FinishesTooWide, ()),
    "disclosure-true": (TellsAnotherSyndrome, ()),
    "disclosure-rows-stand-alone": (FinishesInCompany, ()),
    "sensing-time-sound": (SensesTooLong, ()),
    "sensing-time-suffices": (SensesTooShort, ()),
    "sensing-time-rows-stand-alone": (SensesByTurns, ()),
    "check-values-true": (ChecksAllAtOnce, ()),
    "help-keeps-the-witness": (HelpsTooMuch, ()),
    "sharper-beliefs-normalised": (SharpensTooMuch, ()),
    "list-true": (ListsOnePlace, ()),
    "any-capture-answered": (FallsOverSpikes, ()),
    "any-witness-agrees": (RefusesNoughts, ()),
    "helper-noise-stays-in-its-row": (BlamesEverybody, ()),
    "inputs-untouched": (WritesToItsInput, ()),
    "random-state-untouched": (StirsTheGlobalCoins, ()),
    "environment-untouched": (SetsAVariable, ()),
    "files-untouched": (LeavesAFile, ()),
}
"""Check -> the scheme that breaks it, and other checks that cannot but bite as well."""


def broken_scheme(check):
    """The plug-in that breaks a check."""
    kind = BROKEN[check][0]
    return kind(1) if kind is LosesAParameter else kind()
