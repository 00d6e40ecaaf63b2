"""How much worse a measure may become before a gate closes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from harness.errors import UsageError
from harness.plugins import nearest

__all__ = ["GATED", "GATED_BUDGETS", "Gated", "chosen_margins", "parsed_margins"]

GATED_BUDGETS = (1, 2**20, 2**40)
"""Guess budgets at which odds are gated: on line, and off line by small and by large means."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gated:
    """One gated measure.

    Attributes
    ----------
    margin : float
        Harm must stay below it: a difference in `unit`, or a factor.
    scale : str
        "difference", "ratio" or "odds-ratio".
    unit : str
    rate : bool
        A share of attempts, which few people can hardly resolve where it is rare.
    """

    margin: float
    scale: str
    unit: str
    rate: bool


GATED: Mapping[str, Gated] = MappingProxyType(
    {
        "key-agreement": Gated(margin=0.02, scale="difference", unit="probability", rate=True),
        "failure-to-acquire": Gated(margin=0.02, scale="difference", unit="probability", rate=True),
        "bit-mismatch": Gated(margin=0.02, scale="difference", unit="probability", rate=False),
        "strangers-agreement": Gated(margin=1.5, scale="odds-ratio", unit="probability", rate=True),
        "key-repeats": Gated(margin=1.5, scale="odds-ratio", unit="probability", rate=True),
        "time": Gated(margin=1.1, scale="ratio", unit="s", rate=False),
        "min-entropy": Gated(margin=0.5, scale="difference", unit="bit", rate=False),
        "success-odds": Gated(margin=1.5, scale="odds-ratio", unit="probability", rate=True),
        "key-rank": Gated(margin=1.0, scale="difference", unit="log2", rate=False),
        # a small margin for a symbol is no small one for a key: key-rank carries the whole key's
        "mutual-information": Gated(margin=0.02, scale="difference", unit="bit/symbol", rate=False),
    }
)
"""Gated measures with their default margins."""


def chosen_margins(overrides: Mapping[str, float]) -> dict[str, Gated]:
    """The gated measures, some with a margin of the user's own.

    Raises
    ------
    UsageError
        If a measure is not gated, or a margin allows nothing or everything.
    """
    chosen = dict(GATED)
    for measure, margin in overrides.items():
        if measure not in GATED:
            raise UsageError(
                f"a margin must belong to a gated measure, got {measure!r}; {nearest(measure, list(GATED))}"
            )
        least = 0.0 if GATED[measure].scale == "difference" else 1.0
        if not least < margin < 1e6:
            raise UsageError(
                f"the margin of {measure} is a {GATED[measure].scale} and must lie above {least:g}, "
                f"got {margin:g}"
            )
        chosen[measure] = replace(GATED[measure], margin=float(margin))
    return chosen


def parsed_margins(words: Iterable[str]) -> dict[str, float]:
    """Margins as typed, ``measure=value``.

    Raises
    ------
    UsageError
        If one does not read so, or a measure comes twice.
    """
    margins: dict[str, float] = {}
    for word in words:
        measure, equals, text = word.partition("=")
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not equals or not value == value:
            raise UsageError(f"a margin must read measure=value, as in key-rank=2, got {word!r}")
        if measure in margins:
            raise UsageError(f"each margin must be given once, got {measure} twice")
        margins[measure] = value
    return margins
