"""One interval or test on one channel whose truth is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

__all__ = ["Case"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What is repeated, and how often it should come true.

    Attributes
    ----------
    name : str
        The interval or test, as its function is called.
    channel : str
        What the data come from, with its parameters.
    kind : str
        "coverage": the interval holds the truth; "size": the test rejects although nothing is there.
    nominal : float
        Coverage at least, or size at most, this.
    run : callable
        One repetition on data of its own. True: covered, or rejected. Top-level or a partial of such, so
        that it can be sent to a worker.
    remark : str
        Why it is conservative by construction, or known to fall short, and where that is said.
    short : bool
        Known to fall short; the remark says why it is kept.
    repetitions : int
    """

    name: str
    channel: str
    kind: str
    nominal: float
    run: Callable[[np.random.Generator], bool]
    remark: str = ""
    short: bool = False
    repetitions: int = 1000
