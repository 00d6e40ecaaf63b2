"""Examples from hypothesis: many, the same for the same seed, and cut down to a small one that fails."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from harness.checks.outcomes import Breach, CouldNotRun

__all__ = ["HOW", "below", "find", "strategies"]

HOW = "hypothesis is not installed, which makes the examples: pip install 'keyassay[check]'"


def strategies() -> Any:
    """hypothesis.strategies, or CouldNotRun that says how to get it."""
    try:
        from hypothesis import strategies as found
    except ImportError as error:
        raise CouldNotRun(HOW) from error
    return found


def below(most: int) -> Any:
    """Whole numbers from 0 to `most` - 1, the small ones first when an example is cut down.

    Made of single bits: whole numbers that hypothesis draws depend on what modules happen to be loaded.
    """
    st = strategies()
    bits = [st.booleans()] * max(1, int(most - 1).bit_length())
    return st.tuples(*bits).map(lambda drawn: sum(bit << i for i, bit in enumerate(drawn[::-1])) % most)


def find(strategy: Any, test: Callable[[Any], None], *, seed: int, examples: int) -> None:
    """Put examples to a test; raises the Breach of the smallest one that breaks it.

    Parameters
    ----------
    strategy : hypothesis strategy
    test : callable
        Takes an example; returns, or raises a Breach.
    seed : int
        Names the examples: none is kept from one run to the next.
    examples : int
        At most so many.
    """
    import hypothesis

    every = list(hypothesis.HealthCheck)

    @hypothesis.seed(seed)
    @hypothesis.settings(
        max_examples=examples,
        database=None,
        deadline=None,
        suppress_health_check=every,
        report_multiple_bugs=False,
        print_blob=False,
        phases=[hypothesis.Phase.generate, hypothesis.Phase.shrink],
    )
    @hypothesis.given(strategy)
    def tried(example: Any) -> None:
        test(example)

    try:
        tried()
    except Breach as breach:
        breach.__notes__ = []  # what the library adds is about its own use
        raise
