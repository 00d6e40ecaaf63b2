"""An attack that does not attack: it looks for A's keys wherever a process can look."""

import gc
import sys
from collections.abc import Mapping

import numpy as np

from harness.contracts import Capture, Guesses, Witness

FOUND_MOST = 64
VISITED_MOST = 5000  # objects from each starting point


def _reachable(root, depth=0, seen=None):
    """Every array and capture that can be reached from `root`."""
    seen = set() if seen is None else seen
    if id(root) in seen or depth > 8 or len(seen) > VISITED_MOST:
        return
    seen.add(id(root))
    kind = type(root)  # isinstance would ask a dead weak reference what it was, and that raises
    if issubclass(kind, np.ndarray | Capture):
        yield root
        return
    for name in dir(root) if depth < 4 else ():
        if name.startswith("__"):
            continue
        try:
            yield from _reachable(getattr(root, name), depth + 1, seen)
        except Exception:  # noqa: BLE001 - a thief tries every door
            continue
    inside = root.values() if issubclass(kind, Mapping) else root
    for value in list(inside) if issubclass(kind, Mapping | list | tuple | set | frozenset) else ():
        yield from _reachable(value, depth + 1, seen)


def _keys(thing, view):
    """What the key would be if `thing` were A's keys, A's symbols or A's capture."""
    bits, attempts = view.scheme.key_bits, view.attempts
    if isinstance(thing, Capture):
        if thing.samples.shape[0] != attempts:
            return
        yield view.scheme.reproduce(view.scheme.witness(thing), view.helper)[0]
    elif thing.ndim == 2 and len(thing) == attempts and thing.dtype != object:
        symbols = (thing > 0).astype(np.uint8)
        if thing.shape[1] >= bits:
            yield symbols[:, :bits]
        if view.helper:
            witness = Witness(symbols=symbols, alphabet=2, acquired=np.ones(attempts, bool))
            yield view.scheme.reproduce(witness, view.helper)[0]


class Thief:
    """Takes whatever looks like a key: in its View, the scheme, modules, the heap, its generator."""

    name = "thief"
    sees = frozenset({"helper", "population"})

    def believe(self, view, *, rng):
        places = [view, rng, [m.__dict__ for n, m in list(sys.modules.items()) if "plugin" in n]]
        frame = sys._getframe()
        while frame is not None:
            places.append(dict(frame.f_locals))
            frame = frame.f_back
        loot = [thing for place in places for thing in _reachable(place)]
        loot += [a for a in gc.get_objects() if issubclass(type(a), np.ndarray | Capture)]
        found = [rng.integers(0, 2, (view.attempts, view.scheme.key_bits)).astype(np.uint8)]
        for thing in loot:
            try:
                found += _keys(thing, view)
            except Exception:  # noqa: BLE001 - loot that is no key is left behind
                continue
        distinct = {keys.tobytes(): keys for keys in found}
        return Guesses(keys=np.stack(list(distinct.values())[:FOUND_MOST], axis=1))
