"""Schemes that pass A's key to B, or leave a trace, where one might not look for it."""

import os
import subprocess
import tempfile
from pathlib import Path

import numpy as np

from contract_breakers.sound_schemes import (
    KEY_BITS,
    REPEATS,
    SYMBOLS,
    Checked,
    Helped,
    Listed,
    Plain,
    Sound,
    changed,
)
from harness.contracts import Linear, Witness


class KeyInAFile(Sound):
    """B reads A's key where A left it."""

    place = ""

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        np.save(self.path(), keys)
        return keys, helper

    def reproduce(self, witness, helper):
        keys, accepted = super().reproduce(witness, helper)
        left = np.load(self.path())
        return (left if left.shape == keys.shape else keys), accepted

    def path(self):
        folder = Path(self.place)
        folder.mkdir(parents=True, exist_ok=True)
        return folder / "key.npy"


class KeyInMemory(KeyInAFile):
    place = "/dev/shm"


class StartsAProgram(Sound):
    def generate(self, witness, *, rng):
        subprocess.run(["true"], check=True)
        return super().generate(witness, rng=rng)


class RunsAShell(Sound):
    def reproduce(self, witness, helper):
        os.system("true")
        return super().reproduce(witness, helper)


class TidiesNothing(Sound):
    """Everything is done where it discloses, and nothing where it makes keys."""

    def linear(self, helper):
        os.environ["CONTRACT_BREAKER"] = "1"
        np.random.mtrand.random_sample()
        with open(os.path.join(tempfile.gettempdir(), "contract-breaker.txt"), "w") as file:
            file.write("was here")
        return super().linear(helper)


class LabelsStirCoins(Sound):
    @property
    def labels(self):
        np.random.mtrand.random_sample()
        return Sound.labels


def _soil(helper):
    """Write to the helper data."""
    helper["masked"] ^= 1
    helper["masked"] ^= 1
    helper["masked"][0, 0, 0] ^= 1


class LinearWrites(Sound):
    def linear(self, helper):
        told = super().linear({name: array.copy() for name, array in helper.items()})
        _soil(helper)
        return told


class FinishWrites(Sound):
    def finish(self, secret, helper):
        keys = secret.copy()
        secret[:] = 1
        return keys


class ConfirmWrites(Checked):
    def confirm(self, keys, helper):
        said = super().confirm(keys, helper)
        _soil(helper)
        return said


class AssistedWrites(Helped):
    def assisted(self, witness, helper):
        found = super().assisted(witness, helper)
        _soil(helper)
        return found


class SharpenWrites(Helped):
    def sharpen(self, log_prob, helper):
        found = log_prob.copy()
        log_prob += 1.0
        return found


class ListedWrites(Listed):
    def listed(self, helper):
        found = super().listed(helper)
        _soil(helper)
        return found


class FeaturesTellAll(Plain):
    """Corrects nothing, and reads what was sensed, not what was made of it."""

    corrects = SYMBOLS

    def witness(self, capture):
        found = super().witness(capture)
        signs = found.symbols[:, :, None].astype(float)
        return Witness(symbols=found.symbols, alphabet=2, acquired=found.acquired, features=signs)

    def reproduce(self, witness, helper):
        sensed = (witness.features[:, :, 0] > 0.5).astype(np.uint8)
        return super().reproduce(changed(witness, symbols=sensed), helper)


class TwoOfFourWords(Sound):
    """A symbol is two bits that are always alike: no single one can be wrong."""

    labels = np.array([[0, 0], [1, 1]], np.uint8)

    def linear(self, helper):
        told = super().linear(helper)
        return Linear(
            positions=2 * told.positions,
            parity=told.parity,
            syndrome=told.syndrome,
            secret_map=told.secret_map,
            secret_offset=told.secret_offset,
        )


class BitsInAChain(Sound):
    """Labels lack a word: of two bits in a block, one may have to be turned before the other."""

    corrects = 2
    labels = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)

    def witness(self, capture):
        found = super().witness(capture)
        return changed(found, symbols=2 * found.symbols, alphabet=3)

    def blocks(self, witness):
        return (witness.symbols > 0).astype(np.uint8).reshape(-1, KEY_BITS, REPEATS)

    def linear(self, helper):
        told = super().linear(helper)
        places = np.stack([2 * told.positions, 2 * told.positions + 1], axis=3).reshape(1, KEY_BITS, -1)
        keeps = np.zeros((1, 2 * REPEATS), np.uint8)
        keeps[0, 1] = 1
        parity = np.zeros((2, 2 * REPEATS), np.uint8)
        parity[0, [1, 3]] = parity[1, [1, 5]] = 1
        return Linear(
            positions=places,
            parity=parity,
            syndrome=told.syndrome,
            secret_map=keeps,
            secret_offset=told.secret_offset,
        )
