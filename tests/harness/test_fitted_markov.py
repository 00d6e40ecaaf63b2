"""A Markov source fitted to people, and the rows that it adds to the result table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import Array, Estimate, Linear
from harness.entropy_measures import _of_secrets
from harness.errors import InsufficientData
from harness.estimators.bounded_mean import bounded_mean
from harness.estimators.entropy.fitted_markov import markov_min_entropy, most_predictable
from harness.estimators.entropy.given_helper import estimated_min_entropy
from harness.estimators.entropy.joint_min_entropy import joint_min_entropy
from harness.estimators.entropy.symbol_chains import fitted_chain, stationary_chain
from harness.rows import Row
from harness.streams import stream
from schemes.codes import golay23, hamming

TERNARY = np.array([[0, 0], [0, 1], [1, 1]], np.uint8)
POSITIONS = np.arange(4 * 7).reshape(4, 7)
PARITY = hamming(3).parity
SOURCE: dict[str, Any] = {
    "labels": TERNARY,
    "parity": PARITY,
    "positions": POSITIONS,
    "limit": 16,
}


def walks(step: Array, attempts: int, symbols: int, rng: np.random.Generator) -> Array:
    chain = stationary_chain(step, symbols)
    found = np.zeros((attempts, symbols), np.uint8)
    found[:, 0] = rng.choice(len(step), attempts, p=chain.start)
    upto = step.cumsum(axis=1)
    for t in range(1, symbols):
        found[:, t] = (rng.random(attempts)[:, None] > upto[found[:, t - 1], :-1]).sum(axis=1)
    return found


def stays(share: float) -> Array:
    return np.full((3, 3), (1 - share) / 2) + np.eye(3) * (1.5 * share - 0.5)


def test_dependence_lowers_what_independent_symbols_promise() -> None:
    """Symbols that stay with .7 look uniform one by one; the interval holds the whole key's truth."""
    step = stays(0.7)
    symbols, subject = walks(step, 300, 14, stream(0, "walks")), np.arange(300) // 10
    found, error = markov_min_entropy(symbols, subject, rng=stream(0, "draws"), **SOURCE)
    truth = joint_min_entropy(PARITY, POSITIONS, TERNARY, stationary_chain(step, 14))
    assert found.low <= truth <= found.high
    assert found.high < estimated_min_entropy(symbols, subject, **SOURCE).low
    assert 0 < error < 0.5 * (found.high - found.low)
    assert (found.subjects, found.attempts, found.side, found.evidence) == (30, 300, "estimate", "modelled")


def test_the_value_is_that_of_the_fitted_chain() -> None:
    """Against the exact value of the same chain, where it can be had: two blocks."""
    symbols, subject = walks(stays(0.6), 60, 7, stream(1, "walks")), np.arange(60) // 6
    source = {**SOURCE, "positions": POSITIONS[:2]}
    chain = fitted_chain(symbols, alphabet=3)
    exact = joint_min_entropy(PARITY, POSITIONS[:2], TERNARY, chain)
    found, error = markov_min_entropy(symbols, subject, rng=stream(1, "draws"), draws=2000, **source)
    assert found.value == pytest.approx(exact, abs=error)
    assert error < 0.05
    one_block, none = markov_min_entropy(
        symbols, subject, rng=stream(1, "draws"), **{**source, "positions": POSITIONS[:1]}
    )
    assert one_block.value == pytest.approx(joint_min_entropy(PARITY, POSITIONS[:1], TERNARY, chain))
    assert none == 0


def test_leaving_people_out_moves_the_figure_as_fitting_anew_does() -> None:
    """The draws are weighted anew for each group left out; ten groups of one person here."""
    rng = stream(2, "walks")
    symbols = np.concatenate([walks(stays(s), 30, 7, rng) for s in np.linspace(0.4, 0.8, 10)])
    subject = np.arange(300) // 30
    source = {**SOURCE, "positions": POSITIONS[:2]}
    found, error = markov_min_entropy(symbols, subject, rng=stream(2, "draws"), draws=4000, **source)
    anew = [
        joint_min_entropy(
            PARITY, source["positions"], TERNARY, fitted_chain(symbols[subject != s], alphabet=3)
        )
        for s in range(10)
    ]
    half = 2.2621572 * np.sqrt(9 / 10 * np.sum((np.array(anew) - np.mean(anew)) ** 2))  # t, 9 degrees
    assert found.value - found.low == pytest.approx(half, abs=1.1 * error + 0.02 * half)
    # the upper end also makes up for what a fit to few says too little: nine times the jackknife's, twice
    short = 2 * 9 * max(0.0, found.value - np.mean(anew))
    assert found.high - found.value == pytest.approx(half + short, abs=20 * error + 0.02 * half)


def test_same_seed_same_figures_and_the_cap_of_the_key() -> None:
    symbols, subject = walks(stays(0.5), 40, 14, stream(3, "walks")), np.arange(40) // 4
    once = markov_min_entropy(symbols, subject, rng=stream(3, "draws"), **SOURCE)
    assert once == markov_min_entropy(symbols, subject, rng=stream(3, "draws"), **SOURCE)
    capped, _ = markov_min_entropy(symbols, subject, rng=stream(3, "draws"), **{**SOURCE, "limit": 2.0})
    assert capped.value == capped.high == 2
    assert capped.low <= 2


def test_one_person_says_nothing_of_others() -> None:
    found, _ = markov_min_entropy(
        walks(stays(0.5), 1, 14, stream(0, "one")), np.zeros(1, int), rng=stream(0, "d"), **SOURCE
    )
    assert np.isfinite(found.value)
    assert np.isnan([found.low, found.high]).all()
    constant, _ = markov_min_entropy(
        np.zeros((5, 14), np.uint8), np.arange(5), rng=stream(0, "d"), **SOURCE
    )
    assert constant.value == pytest.approx(0, abs=0.2)  # but for the smoothing
    assert 0 <= constant.low <= constant.value <= constant.high


def test_the_most_predictable_is_who_moves_least_even_at_equal_shares() -> None:
    rng = stream(4, "walks")
    symbols = np.concatenate([walks(stays(s), 20, 50, rng) for s in (0.4, 0.9, 0.5)])
    assert most_predictable(symbols, np.repeat([7, 3, 5], 20), alphabet=3) == 3


def test_bad_input_is_named() -> None:
    rng = stream(0, "bad")
    with pytest.raises(InsufficientData, match="fitted to at least one attempt, got none"):
        markov_min_entropy(np.zeros((0, 14), int), np.zeros(0, int), rng=rng, **SOURCE)
    with pytest.raises(ValueError, match="whole numbers from 0 to 2, got others"):
        markov_min_entropy(np.full((2, 14), 3), np.arange(2), rng=rng, **SOURCE)
    with pytest.raises(ValueError, match="must be -1 to 25, the bits of the chain, got 0 to 27"):
        markov_min_entropy(np.zeros((2, 13), int), np.arange(2), rng=rng, **SOURCE)
    for values in ([], [0.5, 1.2], [[0.5]], [np.nan]):
        with pytest.raises(ValueError, match=r"one-dimensional, not empty and in \[0, 1\]"):
            bounded_mean(np.array(values))


def test_bets_hold_for_extreme_values() -> None:
    assert bounded_mean(np.zeros(50))[0] == 0
    assert bounded_mean(np.ones(50))[1] == 1
    low, high = bounded_mean(np.full(1000, 1e-9))
    assert 0 <= low <= 1e-9 <= high < 0.02
    narrow = [np.subtract(*bounded_mean(np.full(n, 0.3))[::-1]) for n in (100, 1000, 10000)]
    assert narrow[0] > 5 * narrow[1] > 25 * narrow[2]  # without spread the width falls almost as 1 / n


def test_stakes_learn_the_spread_so_that_the_interval_is_about_as_short_as_can_be() -> None:
    """Beta (30, 90), 4000 values: at most 1.6 times what the normal distribution would give."""
    values = stream(0, "beta").beta(30, 90, 4000)
    low, high = bounded_mean(values)
    assert low < 0.25 < high
    assert high - low < 1.6 * 2 * 1.96 * values.std() / np.sqrt(4000)


@dataclass(frozen=True)
class Still:
    """Signs that mostly stay as they were, as often positive as negative."""

    people: Channel
    name: str = "still"
    data: str = "simulated"

    def sittings(self) -> Any:
        return self.people.sittings()

    def block(self, sitting: Any, streams: Any) -> Any:
        return {
            name: type(sensed)(
                capture=type(sensed.capture)(
                    samples=settled(sensed.capture.samples), rate_hz=1.0, signal="value", unit="1"
                ),
                attempt=sensed.attempt,
                attacker=sensed.attacker,
            )
            for name, sensed in self.people.block(sitting, streams).items()
        }

    def describe(self) -> Any:
        return {}

    def digest(self) -> str:
        return "still"


def settled(samples: Array) -> Array:
    """A sign changes where the value is among the least quarter of the distribution's magnitudes."""
    changes = np.cumsum(np.abs(samples) < 0.3186, axis=2)  # P(|normal| < .3186) = .25
    first = np.where(samples[:, :, :1] > 0, 1.0, -1.0)
    return first * np.where(changes % 2, -1.0, 1.0)


def left_of(corpus: Any, blocks: int) -> dict[str, Row]:
    scheme = SignCommitment(blocks=blocks)
    table = audit(scheme, attacks="population", corpus=corpus)
    return {r.method: r for r in table.select(measure="min-entropy") if r.unit == "bit"} | {
        "rate": next(r for r in table.select(measure="rate") if r.method == "average-given-helper")
    }


def test_rows_of_an_audit_and_which_of_them_counts() -> None:
    """Bits that stay with .75: independent ones would leave 24 bits, these leave what the chain leaves."""
    rows = left_of(Still(Channel(subjects=12, length=46, seed=3)), 2)
    independent = rows["average-given-helper-independent-symbols"]
    markov, alone = (rows[f"average-given-helper-markov{end}"] for end in ("", "-worst-subject"))
    step = np.array([[0.75, 0.25], [0.25, 0.75]])
    truth = joint_min_entropy(
        golay23().parity,
        np.arange(46).reshape(2, 23),
        np.array([[0], [1]], np.uint8),
        stationary_chain(step, 46),
    )
    assert markov.low is not None
    assert markov.value is not None
    assert markov.high is not None
    assert markov.low <= truth <= markov.high
    assert independent.value is not None
    assert independent.value > 20 > markov.high
    assert alone.value is not None
    assert alone.value < markov.value
    assert alone.low is None
    assert "Monte Carlo over 100 draws of the helper data, within" in str(markov.reason)
    assert "average-given-helper-markov" in str(rows["rate"].reason)


def test_where_nothing_depends_both_models_agree() -> None:
    rows = left_of(Channel(subjects=12, length=23), 1)
    independent, markov = (rows[f"average-given-helper-{m}"] for m in ("independent-symbols", "markov"))
    assert independent.value is not None
    assert markov.value is not None
    assert 11 < markov.value < 12.000001
    assert markov.value == independent.value  # a chain counts only where dependence is seen
    assert "no dependence of neighbours was seen" in str(markov.reason)


def test_where_a_code_is_out_of_reach_the_witness_itself_bounds_what_is_left() -> None:
    """BCH (63, 30), nine in ten signs positive: 63 * .152 bits before anything is published."""
    scheme = SignCommitment(code="bch-63-30")
    table = audit(scheme, attacks="population", corpus=Channel(subjects=12, length=63, ones=0.9))
    rows = {r.method: r for r in table.select(measure="min-entropy") if r.unit == "bit"}
    assert rows["average-given-helper-markov"].status == "untested"
    assert "2^33 syndromes" in str(rows["average-given-helper-markov"].reason)
    held = rows["average-given-helper-markov-before-helper"]
    assert held.side == "defender-at-most"
    assert held.low is not None
    assert held.high is not None
    assert held.low <= 63 * -np.log2(0.9) <= held.high < 13


def test_where_words_share_a_secret_what_is_left_of_the_word_is_an_upper_bound() -> None:
    chain = fitted_chain(np.array([[0, 1, 1, 0, 1, 0, 0]]), alphabet=2)
    value = joint_min_entropy(PARITY, np.arange(7)[None], np.array([[0], [1]], np.uint8), chain)
    estimate = Estimate(
        value=value, low=value, high=value, level=0.95, unit="bit", side="estimate", evidence="exact",
        subjects=1, attempts=1, method="x",
    )  # fmt: skip
    for rows, side in ((4, "estimate"), (3, "defender-at-most")):
        linear = Linear(
            positions=np.arange(7)[None, None],
            parity=PARITY,
            syndrome=np.zeros((1, 1, 3), np.uint8),
            secret_map=np.eye(rows, 7, dtype=np.uint8),
            secret_offset=np.zeros((1, 1, rows), np.uint8),
        )
        found, note = _of_secrets(estimate, linear)
        assert found.side == side
        assert ("several words lead to one secret" in note) == (rows == 3)
