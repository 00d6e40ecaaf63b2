"""The polynomial vault: what opens it, what it shows, and how many subsets an adversary tries."""

from __future__ import annotations

from itertools import combinations
from math import comb, log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from harness.contracts import Array
from schemes.codes.field import field
from schemes.interpolation import evaluate, through_most
from schemes.vault import PolynomialVault, members, opened_without_features, subsets_to_try

SMALL = PolynomialVault(secret_symbols=1, points=12, universe=200, m=8)


def features(rng: np.random.Generator, attempts: int, size: int, universe: int) -> Array:
    return np.stack([rng.permutation(universe)[:size] for _ in range(attempts)])


def seen_by_b(helper: Array, mine: Array, good: int, bad: int) -> Array:
    """`good` of A's features, and `bad` that meet chaff."""
    chaff = [np.setdiff1d(x, a)[:bad] for x, a in zip(helper[..., 0], mine, strict=True)]
    return np.hstack([mine[:, :good], np.array(chaff, int).reshape(len(mine), bad)])


@settings(max_examples=40, deadline=None)
@given(
    m=st.sampled_from([8, 11, 16]),
    secret_symbols=st.integers(1, 6),
    bad=st.integers(0, 5),
    seed=st.integers(0, 2**32),
)
def test_opens_with_as_many_genuine_points_as_promised_and_not_with_fewer(
    m: int, secret_symbols: int, bad: int, seed: int
) -> None:
    vault = PolynomialVault(secret_symbols=secret_symbols, points=40, universe=250, m=m)
    rng = np.random.default_rng(seed)
    mine = features(rng, 3, 18, 250)
    secret, helper = vault.lock(mine, rng=rng)
    good = vault.coefficients + bad
    for less in (0, 1):
        again, found = vault.unlock(seen_by_b(helper["vault"], mine, good - less, bad), helper)
        assert found.all() == (less == 0)
        assert np.array_equal(again, secret) == (less == 0)


def test_features_outside_the_vault_do_no_harm() -> None:
    rng = np.random.default_rng(3)
    mine = features(rng, 5, 6, 200)
    secret, helper = SMALL.lock(mine, rng=rng)
    outside = np.stack([np.setdiff1d(np.arange(200), x)[:80] for x in helper["vault"][..., 0]])
    again, found = SMALL.unlock(np.hstack([mine, outside]), helper)
    assert found.all()
    assert np.array_equal(again, secret)


def test_what_is_published() -> None:
    rng = np.random.default_rng(4)
    vault = PolynomialVault(secret_symbols=3, points=30, universe=1000)
    mine = features(rng, 50, 10, 1000)
    mine[7, 4:] = -1
    secret, helper = vault.lock(mine, rng=rng)
    x, y = np.moveaxis(helper["vault"], 2, 0)
    assert (helper["vault"].shape, helper["vault"].dtype) == ((50, 30, 2), np.uint16)
    assert (np.diff(x.astype(int), axis=1) > 0).all()
    symbols = secret.reshape(50, 3, 16) @ (1 << np.arange(16)[::-1])
    genuine = np.array([np.isin(row, own[own >= 0]) for row, own in zip(x, mine, strict=True)])
    assert genuine.sum(axis=1).tolist() == [10] * 7 + [4] + [10] * 42
    # the coefficient that is not in the secret, by each point
    over = field(16)
    rest = y ^ evaluate(symbols, x, m=16)
    check = over.times(rest, over.inverses.take(over.power(x, 3)))
    for row, mine_of_row in zip(check, genuine, strict=True):
        assert len(set(row[mine_of_row].tolist())) == 1
        assert not np.isin(row[~mine_of_row], row[mine_of_row]).any()  # chaff lies off the polynomial


def test_order_and_place_do_not_tell_the_genuine_points() -> None:
    """Even features: how many of a vault's points lie below a genuine one is evenly spread."""
    rng = np.random.default_rng(5)
    attempts = 4000
    mine = features(rng, attempts, 1, 200)
    _, helper = SMALL.lock(mine, rng=rng)
    rank = np.bincount((helper["vault"][..., 0] < mine).sum(axis=1), minlength=12)
    statistic = ((rank - attempts / 12) ** 2 / (attempts / 12)).sum()
    assert statistic < chi2(11).isf(0.01)


def test_brute_force_takes_the_tries_that_the_formula_says() -> None:
    """All C(12, 2) lines through two points: exactly C(5, 2) of them are the secret one."""
    rng = np.random.default_rng(6)
    mine = features(rng, 1, 5, 200)
    secret, helper = SMALL.lock(mine, rng=rng)
    pairs = np.array(list(combinations(range(12), 2)))
    x, y = helper["vault"][0, pairs, 0], helper["vault"][0, pairs, 1]
    lines, found = through_most(x, y, np.ones(x.shape, bool), k=2, m=8)
    assert found.all()
    hit = np.unpackbits(lines[:, :1], axis=1)
    right = (hit == secret).all(axis=1) & np.isin(x, mine).all(axis=1)
    assert (len(right), right.sum()) == (comb(12, 2), comb(5, 2))
    assert np.array_equal(right, np.isin(x, mine).all(axis=1))
    # position of the first right one in random order, against its mean
    tries = np.array([right[rng.permutation(len(right))].argmax() + 1 for _ in range(20_000)])
    expected = 2 ** subsets_to_try(12, 5, 2)
    assert expected == pytest.approx((66 + 1) / (10 + 1))
    assert abs(tries.mean() - expected) < 3.5 * tries.std() / np.sqrt(len(tries))


def test_published_number_of_combinations() -> None:
    """Uludag, Pankanti and Jain, AVBPA 2005: 18 genuine points, 200 chaff, degree 8: of 2.6e15 subsets
    48 620 are genuine, so 5.3e10 are tried (figures from memory, recomputed). That is C(r, k) / C(s, k);
    drawing without repetition makes no difference at this size.
    """
    assert comb(218, 9) == pytest.approx(2.6e15, rel=0.01)
    assert comb(18, 9) == 48_620
    assert 2 ** subsets_to_try(218, 18, 9) == pytest.approx(5.3e10, rel=0.01)
    assert subsets_to_try(218, 18, 9) == pytest.approx(log2(comb(218, 9) / comb(18, 9)), abs=1e-4)
    assert subsets_to_try(313, 14, 15) == np.inf
    assert subsets_to_try(7, 7, 3) == 0.0


@given(points=st.integers(2, 300), genuine=st.integers(1, 300), k=st.integers(1, 30))
def test_more_genuine_points_or_fewer_points_are_never_harder(points: int, genuine: int, k: int) -> None:
    genuine, k = min(genuine, points), min(k, points)
    bits = subsets_to_try(points, genuine, k)
    assert bits >= 0
    assert subsets_to_try(points, min(genuine + 1, points), k) <= bits + 1e-9
    assert subsets_to_try(points + 1, genuine, k) >= bits - 1e-9


def test_list_decoding_needs_more_than_the_square_root() -> None:
    assert not opened_without_features(100, 30, 10)
    assert opened_without_features(100, 31, 10)
    assert not opened_without_features(5, 0, 1)  # no point at all
    assert opened_without_features(5, 1, 1)


def test_members_are_listed_in_order() -> None:
    bits = np.array([[0, 1, 1, 0, 1], [0, 0, 0, 0, 0]], np.uint8)
    assert members(bits, 2).tolist() == [[1, 2], [-1, -1]]
    assert members(bits, 7).tolist() == [[1, 2, 4, -1, -1, -1, -1], [-1] * 7]


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: PolynomialVault(m=7), "8 to 16, got 7"),
        (lambda: PolynomialVault(secret_symbols=0), "of 1 or more, got 0"),
        (lambda: PolynomialVault(points=8), "from 9 to 65536, got 8"),
        (lambda: PolynomialVault(universe=300, m=8), "from 9 to 256, got 300"),
        (lambda: SMALL.lock(np.array([[3, 3]]), rng=np.random.default_rng(0)), "once a row"),
        (lambda: SMALL.lock(np.array([[3, 200]]), rng=np.random.default_rng(0)), "below 200.*3 to 200"),
        (lambda: SMALL.lock(np.array([[3.0]]), rng=np.random.default_rng(0)), "whole numbers"),
        (lambda: SMALL.lock(np.arange(13)[None], rng=np.random.default_rng(0)), "at most 12 a row"),
        (lambda: subsets_to_try(5, 6, 2), "got 5, 6 and 2"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()
