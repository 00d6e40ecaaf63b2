"""Bars for long work."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tqdm import tqdm

__all__ = ["progress_bars"]


@contextmanager
def progress_bars() -> Iterator[Callable[[str, int, int], None]]:
    """A bar per stage on stderr, if that is a terminal."""
    from tqdm import tqdm

    bars: dict[str, tqdm[Any]] = {}

    def progress(what: str, done: int, total: int) -> None:
        if what not in bars:
            for bar in bars.values():
                bar.close()
            bars[what] = tqdm(total=total, desc=what, file=sys.stderr, disable=None, leave=False)
        bars[what].update(done - bars[what].n)

    try:
        yield progress
    finally:
        for bar in bars.values():
            bar.close()
