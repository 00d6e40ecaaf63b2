"""Help about features that are not distributed as assumed tells of symbols by itself, and no other does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from scipy.stats import norm

from attacks.help_alone import told_by_help
from attacks.helper_leak import HelperLeak
from harness.contracts import Array, Exchange, Helper, View, Witness
from schemes.assisted import Assistance
from schemes.guard_bands import GuardBands
from schemes.zero_leakage import CellPositions, cell

ROWS, M, LEVELS = 400, 40, 4


@dataclass(frozen=True)
class Read:
    help_given: Assistance
    name: str = "read"

    def assisted(self, witness: Witness, helper: Helper) -> Witness:
        return self.help_given.reread(witness, helper)


def view(scheme: Read, spread: float, shift: float = 0.0) -> tuple[View, Array]:
    rng = np.random.default_rng(8)
    people, victims = shift + spread * rng.standard_normal((2, ROWS, M))
    true = [
        Witness(
            symbols=cell(ndtr(x), LEVELS), alphabet=LEVELS, acquired=np.ones(ROWS, bool),
            features=x[..., None],
        )
        for x in (people, victims)
    ]  # fmt: skip
    helper = [
        scheme.help_given.publish(w, 10 if isinstance(scheme.help_given, GuardBands) else M)[1]
        for w in true
    ]
    subject = np.arange(ROWS) // 5
    population = Exchange(
        subject=subject, session=subject * 0, captures={}, helper=helper[0], witness=true[0],
        keys=np.zeros((ROWS, 1), np.uint8),
    )  # fmt: skip
    made = View(
        scheme=scheme, attempts=ROWS, subject=subject + 100, session=subject * 0, captures={},
        helper=helper[1], population=population,
    )  # fmt: skip
    return made, true[1].symbols


def surprise(log_prob: Array, symbols: Array) -> tuple[float, float]:
    """Bits per symbol, and the standard error."""
    told = -np.take_along_axis(log_prob, symbols[..., None].astype(int), 2)[..., 0] / np.log(2)
    return float(told.mean()), float(told.std() / np.sqrt(told.size))


def left(spread: float, shift: float) -> tuple[float, float]:
    """H(cell | position) and H(cell), bits, by integration over positions."""
    places = (np.arange(20_000) + 0.5) / 20_000
    points = ndtri((np.arange(LEVELS) + places[:, None]) / LEVELS)
    joint = norm.pdf(points, shift, spread) / norm.pdf(points) / LEVELS  # density of (position, cell)
    total = joint.sum(axis=1, keepdims=True)
    given = -(joint * np.log2(joint / total)).sum(axis=1).mean()
    edges = np.concatenate([[-np.inf], ndtri(np.arange(1, LEVELS) / LEVELS), [np.inf]])
    shares = np.diff(norm.cdf(edges, shift, spread))
    return float(given), float(-(shares * np.log2(shares)).sum())


@pytest.mark.parametrize(("spread", "shift"), [(1.0, 0.0), (1.4, 0.0), (1.0, 0.5), (0.7, 0.3)])
def test_what_positions_tell_is_what_the_integral_says(spread: float, shift: float) -> None:
    made, symbols = view(Read(CellPositions(levels=LEVELS)), spread, shift)
    belief = HelperLeak().believe(made, rng=np.random.default_rng(1))
    value, error = surprise(belief.log_prob, symbols)
    given, without = left(spread, shift)
    # 40 places of 3 free shares each, learned from 400 attempts, and the weights
    learning = (40 * 3 + 6) / (2 * ROWS * M) / np.log(2)
    assert given - 4 * error < value < given + learning + 4 * error + 0.002
    if spread > 1.2:
        assert given < without - 0.03


def test_indices_of_clear_features_tell_where_the_spread_is_wrong() -> None:
    kept = Read(GuardBands(features=M, levels=LEVELS))
    for spread, tells in ((1.0, False), (1.8, True)):
        made, symbols = view(kept, spread)
        told = told_by_help(made, rng=np.random.default_rng(1))
        assert told is not None
        places = made.helper["kept"].astype(int)[..., None]
        plain = np.log(np.bincount(symbols.ravel(), minlength=LEVELS) / symbols.size)
        both = told + plain
        both = both - np.logaddexp.reduce(both, axis=2, keepdims=True)
        here = np.take_along_axis(symbols, places[..., 0], 1)
        more = np.take_along_axis(np.take_along_axis(both, places, 1), here[..., None].astype(int), 2)[
            ..., 0
        ]
        gain = (more - plain[here]) / np.log(2)
        error = gain.std() / np.sqrt(gain.size)
        assert bool(gain.mean() > 4 * error) is tells
        assert gain.mean() > -0.002


def test_nothing_is_told_without_help() -> None:
    made, _ = view(Read(CellPositions(levels=LEVELS)), 1.4)
    alone = View(
        scheme=object(), attempts=ROWS, subject=made.subject, session=made.session, captures={},
        helper=made.helper, population=made.population,
    )  # fmt: skip
    assert told_by_help(alone, rng=np.random.default_rng(1)) is None
