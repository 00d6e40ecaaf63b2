"""Schemes that keep every promise, with all optional parts between them."""

import numpy as np

from harness.contracts import Linear, Witness

SYMBOLS, KEY_BITS, REPEATS = 18, 6, 3


class Sound:
    """Each of six key bits, drawn by coins, stands behind three signs; B takes the majority."""

    name, signal, key_bits, corrects = "sound", "value", KEY_BITS, 1

    def witness(self, capture):
        x = capture.samples[:, 0, :SYMBOLS]
        x = np.pad(x, ((0, 0), (0, SYMBOLS - x.shape[1])), constant_values=np.nan)
        return Witness(symbols=(x > 0).astype(np.uint8), alphabet=2, acquired=np.isfinite(x).all(axis=1))

    def generate(self, witness, *, rng):
        keys = rng.integers(0, 2, (len(witness.symbols), KEY_BITS), dtype=np.uint8)
        return keys, {"masked": self.blocks(witness) ^ keys[:, :, None]}

    def reproduce(self, witness, helper):
        votes = (self.blocks(witness) ^ helper["masked"]).sum(axis=2)
        return (2 * votes > REPEATS).astype(np.uint8), witness.acquired.copy()

    def blocks(self, witness):
        return witness.symbols.reshape(-1, KEY_BITS, REPEATS)

    labels = np.array([[0], [1]], np.uint8)
    channels = np.zeros(SYMBOLS, int)

    def linear(self, helper):
        masked = helper["masked"]
        return Linear(
            positions=np.arange(SYMBOLS).reshape(1, KEY_BITS, REPEATS),
            parity=np.array([[1, 1, 0], [1, 0, 1]], np.uint8),
            syndrome=masked[:, :, 1:] ^ masked[:, :, :1],
            secret_map=np.array([[1, 0, 0]], np.uint8),
            secret_offset=masked[:, :, :1],
        )

    def finish(self, secret, helper):
        return secret

    def sensing_seconds(self, capture):
        return np.full(len(capture.samples), min(SYMBOLS, capture.samples.shape[2]) / capture.rate_hz)


class Plain(Sound):
    """Discloses nothing, and says nothing of itself."""

    name = "plain"
    labels = corrects = channels = linear = finish = sensing_seconds = None


class Checked(Sound):
    """Publishes the parity of either half of the key."""

    name = "checked"
    segments = np.repeat([0, 1], 3)

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        return keys, {**helper, "parities": self.parities(keys)}

    def parities(self, keys):
        return keys.reshape(-1, 2, 3).sum(axis=2, dtype=np.uint8) % 2

    def confirm(self, keys, helper):
        return self.parities(keys) == helper["parities"]


class Helped(Plain):
    """Publishes an array of zeros by which symbols are read; tells beliefs apart by it."""

    name = "helped"

    def generate(self, witness, *, rng):
        keys, helper = super().generate(witness, rng=rng)
        return keys, {**helper, "turned": np.zeros((len(keys), SYMBOLS), np.uint8)}

    def assisted(self, witness, helper):
        return Witness(symbols=witness.symbols ^ helper["turned"], alphabet=2, acquired=witness.acquired)

    def sharpen(self, log_prob, helper):
        return log_prob.copy()


class Listed(Plain):
    """A list of every place in the witness, among which are those of A's ones."""

    name, needed = "listed", 1

    def listed(self, helper):
        return np.tile(np.arange(SYMBOLS), (len(helper["masked"]), 1))


class Rounds(Plain):
    """A and B in one method, B accepting where nothing was lost and nothing aborted."""

    name, generate, reproduce = "rounds", None, None

    def agree(self, a, b, *, rng):
        keys, helper = Sound.generate(self, a, rng=rng)
        theirs, accepted = Sound.reproduce(self, b, helper)
        aborted = np.zeros(len(keys), bool)
        return keys, theirs, accepted & a.acquired & ~aborted, {**helper, "aborted": aborted}


def changed(witness, **changes):
    """A witness with other fields."""
    held = {"symbols": witness.symbols, "alphabet": 2, "acquired": witness.acquired}
    return Witness(**{**held, **changes})


SOUND = (Sound, Plain, Checked, Helped, Listed, Rounds)
