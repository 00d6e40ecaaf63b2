"""People who have no part in a choice, so that it can be confirmed on them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from harness.contracts import Corpus, Sensed, Sitting
from harness.streams import stream

__all__ = ["Part", "fresh_seed", "people_text", "split"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Some subjects of a corpus; everything else is as it was."""

    whole: Corpus
    kept: tuple[int, ...]

    @property
    def name(self) -> str:
        """Name of the whole corpus."""
        return self.whole.name

    @property
    def data(self) -> str:
        """ "recorded" or "simulated"."""
        return self.whole.data

    def sittings(self) -> Sequence[Sitting]:
        """The sittings of the subjects that are kept, in the order of the whole."""
        kept = frozenset(self.kept)
        return tuple(s for s in self.whole.sittings() if s.subject in kept)

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        """The asked-for streams of one sitting."""
        return self.whole.block(sitting, streams)

    def describe(self) -> Mapping[str, Any]:
        """What the whole says of itself, and who was kept of it."""
        return {**self.whole.describe(), "subjects kept": list(self.kept)}

    def digest(self) -> str:
        """SHA-256 (hex) of the whole's digest and who was kept."""
        text = f"{self.whole.digest()}:{','.join(map(str, self.kept))}"
        return hashlib.sha256(text.encode()).hexdigest()


def split(corpus: Corpus, *, seed: int) -> tuple[Part, Part] | None:
    """Two thirds of the subjects to choose on, rounded up, and the rest to confirm on.

    Returns
    -------
    tuple or None
        None if there are fewer than three subjects.

    Examples
    --------
    >>> from harness.plugins import resolve
    >>> chosen, kept_back = split(resolve("corpus", "cargo-bike:subjects=7").value, seed=0)
    >>> len(chosen.kept), len(kept_back.kept), sorted(chosen.kept + kept_back.kept) == list(range(7))
    (5, 2, True)
    """
    people = np.unique([s.subject for s in corpus.sittings()])
    if len(people) < 3:
        return None
    shuffled = stream(seed, "sweep", "held-out people").permutation(people).tolist()
    rest = len(people) // 3
    return (
        Part(whole=corpus, kept=tuple(sorted(shuffled[rest:]))),
        Part(whole=corpus, kept=tuple(sorted(shuffled[:rest]))),
    )


def fresh_seed(seed: int) -> int:
    """The seed of people who are nobody of the run with this seed; it belongs to that seed by name."""
    return int(stream(seed, "sweep", "fresh people").integers(1, 2**31))


def people_text(whole: Corpus, parts: tuple[Part, Part] | None) -> str:
    """Whose data a choice is made on, in words."""
    count = len({s.subject for s in (whole if parts is None else parts[0]).sittings()})
    if parts is None:
        return f"{count} {whole.data} people"
    everybody = count + len(parts[1].kept)
    return f"{count} of {everybody} recorded people; the others are kept back for confirmation"
