"""Attacks that do not behave as processes should, and one that waits."""

import os
import sys
import time

import numpy as np

from harness.contracts import Belief


class _Attack:
    sees = frozenset({"remote"})
    width = 7

    def even(self, view):
        return Belief(log_prob=np.log(np.full((view.attempts, self.width, 2), 0.5)))


class Dies(_Attack):
    name = "dies"

    def believe(self, view, *, rng):
        sys.stderr.write("out of luck\n")
        sys.stderr.flush()
        os._exit(7)


class Mumbles(_Attack):
    """Raises with a character that no file can hold."""

    name = "mumbles"

    def believe(self, view, *, rng):
        raise RuntimeError("half a letter: \ud800")


class Forges(_Attack):
    """Writes an answer of its own to standard output, by its number too."""

    name = "forges"

    def believe(self, view, *, rng):
        os.write(1, b'{"kind": "guesses", "work": 0}\n')
        print('{"kind": "guesses", "work": 0}', flush=True)
        return self.even(view)


class Waits(_Attack):
    name = "waits"

    def believe(self, view, *, rng):
        time.sleep(60)
        return self.even(view)


class Scribbles(_Attack):
    """Tries to change what it is shown; says so if it can."""

    name = "scribbles"
    sees = frozenset({"remote", "helper", "population"})

    def believe(self, view, *, rng):
        shown = [view.subject, view.session, *view.helper.values()]
        shown += [c.samples for c in view.captures.values()]
        known = view.population
        shown += [known.keys, known.witness.symbols, *known.helper.values()]
        shown += [c.samples for c in known.captures.values()]
        for array in shown:
            try:
                array[...] = 0
            except ValueError:
                continue
            raise RuntimeError("an array could be written to")
        return self.even(view)


class Introduces:
    """Has no name worth the word."""

    name = ""
    sees = frozenset({"remote"})

    def believe(self, view, *, rng):
        return None


class AsksTheOwner(_Attack):
    name = "asks-the-owner"
    sees = frozenset({"device-a:value"})

    def believe(self, view, *, rng):
        return None
