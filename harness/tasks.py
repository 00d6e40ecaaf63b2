"""What an audit hands to its parts: whose captures, which seed, and workers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from joblib import Parallel, delayed
from threadpoolctl import threadpool_limits

from harness.contracts import Corpus
from harness.strata import Chosen

__all__ = ["Progress", "Run"]

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Run:
    """One audit: its corpus and seed, and who computes."""

    corpus: Corpus
    seed: int
    jobs: int
    chunk: int
    progress: Progress
    folder: Path
    command: list[str]
    budgets: Sequence[int]
    in_house: tuple[str, ...]
    strata: Chosen | None = None

    def map(self, what: str, function: Callable[..., Any], tasks: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Results in the order of tasks, whoever computes them."""
        self.progress(what, 0, len(tasks))
        found = []
        if self.jobs == 1:
            results: Iterable[Any] = (function(*task) for task in tasks)
        else:
            pool = Parallel(n_jobs=self.jobs, return_as="generator", mmap_mode="r")
            results = pool(delayed(_limited)(function, task) for task in tasks)
        for result in results:
            found.append(result)
            self.progress(what, len(found), len(tasks))
        return found


def _limited(function: Callable[..., Any], task: tuple[Any, ...]) -> Any:
    with threadpool_limits(1):
        return function(*task)
