"""Schemes that break what they promise of their agreement, or of an optional part."""

import numpy as np

from contract_breakers.sound_schemes import SYMBOLS, Checked, Helped, Listed, Plain, Sound, changed
from harness.contracts import Linear


class WrongInTheLastBit(Plain):
    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        keys[:, -1] ^= 1
        return keys, accepted


class BoastsOfItsCode(Sound):
    corrects = 2


class NumbersNoChannel(Sound):
    channels = np.full(SYMBOLS, 3)


class FinishesTooWide(Sound):
    def finish(self, secret, helper):
        return np.concatenate([secret, secret], axis=1)


class TellsAnotherSyndrome(Sound):
    def linear(self, helper):
        told = super().linear(helper)
        return Linear(
            positions=told.positions,
            parity=told.parity,
            syndrome=told.syndrome ^ 1,
            secret_map=told.secret_map,
            secret_offset=told.secret_offset,
        )


class FinishesInCompany(Sound):
    def finish(self, secret, helper):
        return secret if len(secret) > 1 else secret ^ 1


class SensesTooLong(Sound):
    def sensing_seconds(self, capture):
        return np.full(len(capture.samples), capture.samples.shape[2] / capture.rate_hz + 1)


class SensesTooShort(Sound):
    def sensing_seconds(self, capture):
        return super().sensing_seconds(capture) / 2


class SensesByTurns(Sound):
    def sensing_seconds(self, capture):
        return super().sensing_seconds(capture) + 0.01 * np.arange(len(capture.samples))


class ChecksAllAtOnce(Checked):
    def confirm(self, keys, helper):
        said = super().confirm(keys, helper)
        return np.repeat(said.all(axis=1)[:, None], 2, axis=1)


class HelpsTooMuch(Helped):
    """Turns a symbol of A's own."""

    def assisted(self, witness, helper):
        found = super().assisted(witness, helper)
        symbols = found.symbols.copy()
        symbols[:, 3] ^= 1
        return changed(found, symbols=symbols)


class SharpensTooMuch(Helped):
    def sharpen(self, log_prob, helper):
        return log_prob * 2


class ListsOnePlace(Listed):
    needed = 4

    def listed(self, helper):
        return np.zeros((len(helper["masked"]), SYMBOLS), int)


class FallsOverSpikes(Sound):
    def witness(self, capture):
        if (capture.samples >= 1e6).any():
            raise OverflowError("too loud")
        return super().witness(capture)


class RefusesNoughts(Sound):
    """A witness of noughts alone is taken for a loose sensor, after A made a key of it."""

    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        return keys, accepted & witness.symbols.any(axis=1)


class BlamesEverybody(Sound):
    """One attempt's damaged helper data, and all are refused."""

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        return keys, {**helper, "sum": helper["masked"].sum(axis=(1, 2))}

    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        whole = (helper["masked"].sum(axis=(1, 2)) == helper["sum"]).all()
        return keys, accepted & whole
