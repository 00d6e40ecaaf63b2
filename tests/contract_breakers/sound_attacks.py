"""Attacks that keep every promise: one who senses, one who guesses, one who writes, one who asks."""

import numpy as np

from harness.contracts import Belief, Capture, Guesses


class Sound:
    """Signs off a distant sensor; learns from others, if there are any, how often they are wrong."""

    name, sees, likes = "sound", frozenset({"remote"}), frozenset({"population"})

    def believe(self, view, *, rng):
        seen = view.scheme.witness(view.captures["remote"]).symbols
        return Belief(log_prob=self.logs(seen, self.error(view.population)))

    def error(self, known):
        if known is None:
            return 0.1
        return 0.05 + 0.1 * float(known.witness.symbols.mean())

    def logs(self, seen, error):
        right = np.where(seen[:, :, None] == np.arange(2), 1 - error, error)
        return np.log(right)


class Guesser:
    """Sees nothing and tries four keys."""

    name, sees = "guesser", frozenset()

    def believe(self, view, *, rng):
        keys = np.zeros((view.attempts, 4, view.scheme.key_bits), np.uint8)
        keys[:, 1:, 0] = 1
        return Guesses(keys=keys)


class Writer(Sound):
    """Adds a tone to every sensor."""

    name, likes = "writer", frozenset({"population"})
    strength = ("loud", 2.0, "sigma")

    def tuned(self, population):
        return self

    def variants(self):
        other = Writer()
        other.strength = ("quiet", 0.5, "sigma")
        return [other]

    def interfere(self, captures, *, rng):
        added = {}
        for role, blank in captures.items():
            tone = np.full(blank.samples.shape, 0.5)
            added[role] = Capture(samples=tone, rate_hz=blank.rate_hz, signal=blank.signal, unit=blank.unit)
        return added, {"phase": rng.random(len(blank.samples))}


class Asker:
    """Asks the device once."""

    name, sees = "asker", frozenset({"helper", "device"})

    def believe(self, view, *, rng):
        accepted = np.asarray(view.device(dict(view.helper)))
        ones = np.where(accepted, 0.6, 0.5)
        shape = (view.attempts, view.scheme.key_bits)
        one = np.broadcast_to(ones[:, None], shape)
        return Belief(log_prob=np.log(np.stack([1 - one, one], axis=2)), about="key")


SOUND = (Sound, Guesser, Writer, Asker)
