"""Which published arrays something depends on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from harness.contracts import Array, Helper

__all__ = ["arrays_that_matter"]

Told = Callable[[Helper], Sequence[Array]]


class _Watched(Mapping[str, Array]):
    """Helper data that remember which of them were read."""

    def __init__(self, helper: Helper) -> None:
        self._helper, self.read = helper, set[str]()

    def __getitem__(self, name: str) -> Array:
        self.read.add(name)
        return self._helper[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._helper)

    def __len__(self) -> int:
        return len(self._helper)


def arrays_that_matter(told: Told, helper: Helper) -> frozenset[str]:
    """Names of the arrays on which what is told of an attempt depends.

    Reading is no proof: whoever copies all helper data reads them all. So the rows of each array that was
    read are dealt to the next attempt, and what is told has to change, or to fail. An array that is the
    same in every attempt counts as one that matters if it was read.

    Parameters
    ----------
    told : callable
        Helper data -> arrays; must give the same for the same.
    helper : Helper
        Of several attempts.
    """
    watched = _Watched(helper)
    before = told(watched)
    return frozenset(n for n in watched.read if _matters(told, helper, n, before))


def _matters(told: Told, helper: Helper, name: str, before: Sequence[Array]) -> bool:
    array = helper[name]
    if len(array) < 2 or bool((array == array[:1]).all()):
        return True
    try:
        after = told({**helper, name: np.roll(array, 1, axis=0)})
    except Exception:  # noqa: BLE001 - whatever a stranger's code raises, it looked
        return True
    return not all(
        np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
        for one, other in zip(before, after, strict=True)
    )
