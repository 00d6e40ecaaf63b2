"""An attack that does not attack: it looks for A's keys wherever a process can look."""

import gc
import sys

import numpy as np

from harness.contracts import Capture, Guesses

FOUND_MOST = 64


def _arrays(root, key_bits, attempts, depth=0, seen=None):
    """Every array reachable from `root` that could be keys or symbols of the attempts."""
    seen = set() if seen is None else seen
    if id(root) in seen or depth > 8:
        return
    seen.add(id(root))
    if isinstance(root, np.ndarray):
        if root.ndim == 2 and root.shape[0] == attempts and root.shape[1] >= key_bits:
            yield root[:, :key_bits]
        return
    if isinstance(root, Capture):
        return
    for name in dir(root) if depth < 4 else ():
        if name.startswith("__"):
            continue
        try:
            yield from _arrays(getattr(root, name), key_bits, attempts, depth + 1, seen)
        except Exception:  # noqa: BLE001 - a thief tries every door
            continue
    if isinstance(root, dict):
        for value in root.values():
            yield from _arrays(value, key_bits, attempts, depth + 1, seen)
    elif isinstance(root, (list, tuple, set, frozenset)):
        for value in root:
            yield from _arrays(value, key_bits, attempts, depth + 1, seen)


class Thief:
    """Takes whatever looks like a key: in its View, the scheme, modules, the heap, its generator."""

    name = "thief"
    sees = frozenset({"helper", "population"})

    def believe(self, view, *, rng):
        bits, attempts = view.scheme.key_bits, view.attempts
        places = [view.scheme, rng, [m.__dict__ for n, m in list(sys.modules.items()) if "plugin" in n]]
        loot = [a for place in places for a in _arrays(place, bits, attempts)]
        loot += [
            a[:, :bits]
            for a in gc.get_objects()
            if isinstance(a, np.ndarray) and a.ndim == 2 and a.shape[0] == attempts and a.shape[1] >= bits
        ]
        frame = sys._getframe()
        while frame is not None:
            loot += [a for v in frame.f_locals.values() for a in _arrays(v, bits, attempts)]
            frame = frame.f_back
        guesses = [(np.asarray(a) > 0).astype(np.uint8) for a in loot[:FOUND_MOST]]
        guesses.append(rng.integers(0, 2, (attempts, bits)).astype(np.uint8))
        return Guesses(keys=np.stack(guesses, axis=1))
