"""Beliefs added up: independent views multiply, a repeated one counts once, a useless one not at all."""

from __future__ import annotations

import numpy as np
from scipy.optimize import approx_fprime
from scipy.special import log_softmax

from harness.combining import chosen_weights, combined, fitted_weights
from harness.contracts import Array

M = 8
PRIOR = np.log(np.full((M, 2), 0.5))


def view(symbols: Array, p: float, rng: np.random.Generator) -> Array:
    """The right belief after seeing each symbol through a binary symmetric channel."""
    seen = symbols ^ (rng.random(symbols.shape) < p)
    return np.log(np.where(np.arange(2) == seen[..., None], 1 - p, p))


def drawn(rows: int = 4000) -> tuple[Array, np.random.Generator]:
    rng = np.random.default_rng(6)
    return rng.integers(0, 2, (rows, M)), rng


def score(log_prob: Array, symbols: Array) -> float:
    return float(np.take_along_axis(log_prob, symbols[..., None], axis=2).mean())


def test_independent_views_multiply() -> None:
    symbols, rng = drawn()
    beliefs = [view(symbols, 0.2, rng), view(symbols, 0.3, rng)]
    weights = fitted_weights(beliefs, PRIOR, symbols)
    # the inverse information gives a standard error below .02 for either weight
    assert np.allclose(weights[1:], 1, atol=0.08)
    both = combined(beliefs, PRIOR, weights)
    assert np.allclose(np.exp(both).sum(axis=2), 1)
    assert score(both, symbols) > max(score(b, symbols) for b in beliefs)
    exact = log_softmax(beliefs[0] + beliefs[1] - PRIOR, axis=2)
    assert np.allclose(combined(beliefs, PRIOR, np.ones(3)), exact)


def test_a_shared_prior_is_counted_once() -> None:
    """Bayes with a lopsided prior: two views and the prior once, not twice."""
    rng = np.random.default_rng(7)
    prior = np.log(rng.dirichlet(np.ones(3), 4))
    seen = rng.dirichlet(np.ones(3), (2, 5, 4))  # likelihoods of two independent views
    beliefs = [log_softmax(prior + np.log(s), axis=2) for s in seen]
    posterior = log_softmax(prior + np.log(seen).sum(axis=0), axis=2)
    assert np.allclose(combined(beliefs, prior, np.ones(3)), posterior)


def test_a_view_that_repeats_another_is_not_counted_twice() -> None:
    symbols, rng = drawn()
    one = view(symbols, 0.2, rng)
    weights = fitted_weights([one, one], PRIOR, symbols)
    assert abs(weights[1:].sum() - 1) < 0.08
    assert np.allclose(combined([one, one], PRIOR, weights), one, atol=0.12)


def test_a_useless_or_misleading_view_is_left_out() -> None:
    symbols, rng = drawn()
    good = view(symbols, 0.2, rng)
    noise, lie = view(rng.integers(0, 2, symbols.shape), 0.2, rng), view(1 - symbols, 0.2, rng)
    weights = fitted_weights([good, noise, lie], PRIOR, symbols)
    assert abs(weights[2]) < 0.08
    assert weights[3] == 0


def test_certainty_does_not_veto() -> None:
    symbols, rng = drawn(50)
    certain = np.where(np.arange(2) == symbols[..., None], -np.inf, 0.0)
    both = combined([view(symbols, 0.1, rng), certain], PRIOR, np.ones(3))
    assert np.isfinite(both).all()


def test_weights_are_a_minimum() -> None:
    symbols, rng = drawn(500)
    beliefs = [view(symbols, 0.2, rng), view(symbols, 0.35, rng)]
    weights = fitted_weights(beliefs, PRIOR, symbols)
    slope = approx_fprime(weights, lambda w: -score(combined(beliefs, PRIOR, w), symbols), 1e-6)
    assert np.abs(slope).max() < 1e-3


def test_the_product_is_kept_where_views_add_up() -> None:
    symbols, rng = drawn(400)
    beliefs = [view(symbols, 0.2, rng), view(symbols, 0.3, rng)]
    people = np.repeat(np.arange(20), 20)
    weights = chosen_weights(beliefs, PRIOR, symbols, people)
    assert np.allclose(weights, fitted_weights(beliefs, PRIOR, symbols))


def test_the_best_alone_is_taken_where_few_people_mislead_the_weights() -> None:
    """Views that are right about one half of the people and wrong about the other, beside a good one."""
    symbols, rng = drawn(8)
    people = np.repeat(np.arange(4), 2)
    odd = (people % 2)[:, None].astype(np.uint8)
    good = view(symbols, 0.1, rng)
    misleading = [view(symbols ^ odd, 0.02, rng), view(symbols ^ odd ^ 1, 0.02, rng)]
    weights = chosen_weights([good, *misleading], PRIOR, symbols, people)
    assert np.array_equal(weights, [1, 1, 0, 0])


def test_with_one_person_nothing_is_chosen() -> None:
    symbols, rng = drawn(50)
    beliefs = [view(symbols, 0.2, rng), view(symbols, 0.3, rng)]
    weights = chosen_weights(beliefs, PRIOR, symbols, np.zeros(50, int))
    assert np.allclose(weights, fitted_weights(beliefs, PRIOR, symbols))
