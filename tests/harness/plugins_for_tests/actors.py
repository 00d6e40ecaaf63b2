"""Strangers who write to sensors or ask devices: copies of our own, and one who asks what it may not."""

import numpy as np

from attacks.denial import Denial
from attacks.helper_tamper import HelperTamper
from attacks.injection import Injection
from harness.contracts import Belief, Capture


class Injects(Injection):
    def variants(self):
        return super().variants()[:1]


class Tampers(HelperTamper):
    pass


class Denies(Denial):
    def variants(self):
        return super().variants()[:1]


class _Even:
    sees = frozenset({"helper", "population"})

    def believe(self, view, *, rng):
        shape = (view.attempts, *view.population.witness.symbols.shape[1:], 2)
        return Belief(log_prob=np.log(np.full(shape, 0.5)))


class Pesters(_Even):
    """Asks the device nonsense, then until it answers no more, and fails with what it counted."""

    name = "pesters"
    sees = frozenset({"helper", "device", "population"})

    def believe(self, view, *, rng):
        refused = asked = 0
        for nonsense in ({}, {"offset": np.zeros(3)}):
            try:
                view.device(nonsense)
            except ValueError:
                refused += 1
        try:
            while True:
                view.device(dict(view.helper))
                asked += 1
        except RuntimeError:
            raise RuntimeError(f"nonsense refused: {refused} of 2; answers: {asked}") from None


class Listens(_Even):
    """Was given no device and looks for one."""

    name = "listens"

    def believe(self, view, *, rng):
        if view.device is not None:
            raise RuntimeError("there is a device")
        return super().believe(view, rng=rng)


class WritesElsewhere(_Even):
    """Writes to a sensor that is not there."""

    name = "writes-elsewhere"

    def interfere(self, captures, *, rng):
        blank = captures["device-a"]
        more = Capture(samples=blank.samples, rate_hz=blank.rate_hz, signal=blank.signal, unit=blank.unit)
        return {"elsewhere": more}, {}


class WritesTooLittle(_Even):
    """Adds fewer samples than there are, and notes that are no mapping."""

    name = "writes-too-little"

    def interfere(self, captures, *, rng):
        blank = captures["device-a"]
        few = blank.samples[:, :, :1]
        return {"device-a": Capture(samples=few, rate_hz=1.0, signal=blank.signal, unit=blank.unit)}, {}


class NotesNothing(_Even):
    """Returns what is no pair of captures and notes."""

    name = "notes-nothing"

    def interfere(self, captures, *, rng):
        return {}, 3
