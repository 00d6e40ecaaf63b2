"""No figure of `harness.estimators`, `harness.score`, `harness.ranking` and `harness.gating` moves unseen.

After a change that is meant to move one: ``cd tests && python -m pinned_figures``; the commit says why.
"""

from __future__ import annotations

import warnings
from itertools import combinations

import numpy as np
import pytest
from pinned_figures.pins import FIGURES, moved, near, pinned
from pinned_figures.plain import row, rows

PINNED = pinned()


def test_every_figure_is_pinned() -> None:
    assert list(PINNED) == list(FIGURES)


@pytest.mark.parametrize("name", FIGURES)
def test_no_figure_has_moved(name: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = FIGURES[name]()
    assert moved(PINNED[name], rows(figure)) == []
    parts = figure if isinstance(figure, list) else [figure]
    assert any(not isinstance(part, str) for part in parts), "a figure must hold more than refusals"


def test_a_row_tells_values_places_words_and_what_is_not_finite_apart() -> None:
    values = [
        [1.0, 2.0],
        [2.0, 1.0],
        [1.0, -2.0],
        [1.0, 2.000001],
        [1.0, 2.0, 0.0],
        [1.0, np.nan],
        [np.nan, 1.0],
        [1.0, "two"],
        [np.array([1.0, 2.0])],
        [np.array([[1.0, 2.0]])],
        {"x": 1.0, "y": 2.0},
        [1e13, 0.5],
        [1e13, 0.50001],
        [1e13 * 1.00001, 0.5],
    ]
    for one, other in combinations(values, 2):
        assert not near(row(one), row(other))
    assert near(row([1.0, 2.0]), row((True, 2.0 + 1e-9)))
