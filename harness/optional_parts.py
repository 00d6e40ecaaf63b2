"""Parts of the contract that few plug-ins have: what they say lets the harness and its attacks do better.

Each is known by its members alone. Whoever has none of them is measured all the same, as far as that goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, runtime_checkable

from harness.contracts import Array, Helper, Sitting, Witness

__all__ = ["Assisting", "Channelled", "Correcting", "Labelled", "Listing", "Sharpening"]


@runtime_checkable
class Channelled(Protocol):
    """Optional: a scheme that reads several channels says which each symbol is from.

    Channels of one body resemble each other; what they share is then measured.
    """

    @property
    def channels(self) -> Array:
        """(m,) int: the channel of each symbol of the witness, numbered from 0."""
        ...


@runtime_checkable
class Correcting(Protocol):
    """Optional: a scheme whose decoder has a bounded distance says how many errors it corrects for certain.

    Nothing is measured by it; it is a promise that `harness.checks` puts to the test.
    """

    @property
    def corrects(self) -> int:
        """Errors, in whatever places, that leave A and B with the same key.

        Bits of A's witness in every block of `linear`; where there is no `linear`, symbols of the witness.
        """
        ...


@runtime_checkable
class Assisting(Protocol):
    """Optional: a scheme whose helper data help to read symbols says how.

    Helper data are public, so adversaries with a sensor read theirs with them too. A scheme that does not
    say how is attacked as if its helper data did not help, and looks safer than it is.
    """

    def assisted(self, witness: Witness, helper: Helper) -> Witness:
        """The whole witness, its m symbols read with the help of the helper data, row for row.

        A's own stays as it is. `features`, if any, may be other numbers than before. Where there are c for
        each value of a symbol, (attempts, m, c * alphabet), column i * alphabet + v says in the i-th
        way how well value v fits: log-probabilities are learned as weighted sums of the c ways. The
        features that came may be an estimate of A's, on A's scale.
        """
        ...


@runtime_checkable
class Sharpening(Protocol):
    """Optional: a scheme without a `Linear` disclosure says what its helper data make of a belief.

    Keys are looked for by the sharper belief first, then by the belief as it came. So where a scheme
    accepts only the right key, saying this can but raise the odds; where it accepts anything, sharpening
    badly can lower them at few guesses. Either way they stay a lower bound on what an adversary reaches,
    and a scheme that sharpens less well than could be done looks safer than it is.
    """

    def sharpen(self, log_prob: Array, helper: Helper) -> Array:
        """Beliefs about A's witness (attempts, m, alphabet), natural logs, given the helper data too.

        Normalised as they came; symbols of what came are taken as independent.
        """
        ...


@runtime_checkable
class Listing(Protocol):
    """Optional: a scheme that publishes a list in which A's features hide says where it can be opened.

    The witness has two symbols: 1 at each feature that A has.
    """

    @property
    def needed(self) -> int:
        """So many of A's features, and nothing else of A, open it; whoever opens it sees that."""
        ...

    def listed(self, helper: Helper) -> Array:
        """(attempts, points) int: the features listed, each a place in the witness; A's are among them."""
        ...


@runtime_checkable
class Labelled(Protocol):
    """Optional part of a corpus: it says of every attempt what else tells it apart."""

    def labels(self, sitting: Sitting, kind: str) -> Sequence[str | None]:
        """One label for each attempt; None where the corpus does not say.

        `kind` is one of `harness.strata.KINDS`.
        """
        ...
