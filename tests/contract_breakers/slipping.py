"""Schemes that pass A's key to B, or leave a trace, where one might not look for it."""

import os
import subprocess
from pathlib import Path

import numpy as np

from contract_breakers.sound_schemes import Sound


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
