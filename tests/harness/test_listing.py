"""Lists in which features hide: what they cost to open by trying, and what common features give away."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest

from fixtures.controls import Channel
from harness import audit
from harness.collecting import Rows
from harness.contracts import DEVICE_B, Array, Belief, Capture, Helper, Witness
from harness.exchange import Honest
from harness.listed_sets import believed_sets
from harness.listing_rows import METHOD, listing_rows
from harness.optional_parts import Listing
from harness.prior import symbol_prior
from harness.score import disclosure_of, judge
from schemes.extraction import Hkdf
from schemes.vault import PolynomialVault, subsets_to_try
from schemes.vault_commitment import VaultCommitment

UNIVERSE, POINTS, NEEDED = 300, 80, 5


@dataclass(frozen=True, slots=True)
class Hidden:
    """Features are the samples above 1: they hide in a vault."""

    inner: VaultCommitment = field(
        default_factory=lambda: VaultCommitment(
            vault=PolynomialVault(secret_symbols=NEEDED - 1, points=POINTS, universe=UNIVERSE, m=12),
            extraction=Hkdf(), key_bits=40, size=60,
        )
    )  # fmt: skip
    name: str = "hidden"
    signal: str = "value"
    key_bits: int = 40

    @property
    def needed(self) -> int:
        return self.inner.needed

    def listed(self, helper: Helper) -> Array:
        return self.inner.listed(helper)

    def witness(self, capture: Capture) -> Witness:
        x = capture.samples[:, 0]
        return Witness(symbols=(x > 0).astype(np.uint8), alphabet=2, acquired=np.ones(len(x), bool))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return self.inner.generate(witness, rng=rng)

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return self.inner.reproduce(witness, helper)


def ran(sets: Array, scheme: Any = None) -> Honest:
    made, rows = scheme or Hidden(), len(sets)
    a = Witness(symbols=sets, alphabet=2, acquired=np.ones(rows, bool))
    keys, helper = made.generate(a, rng=np.random.default_rng(9))
    return Honest(
        sitting=np.zeros(rows, int), local=np.arange(rows), subject=np.arange(rows) // 4,
        session=np.zeros(rows, int), a=a, b=a, keys_a=keys, keys_b=keys, accepted=np.ones(rows, bool),
        helper=helper, seconds=np.ones(rows),
    )  # fmt: skip


def drawn(shares: Array, rows: int, seed: int) -> Array:
    return (np.random.default_rng(seed).random((rows, len(shares))) < shares).astype(np.uint8)


def of_size(size: int, rows: int) -> Array:
    ranks = np.random.default_rng(size).random((rows, UNIVERSE)).argsort(axis=1).argsort(axis=1)
    return np.asarray(ranks < size, np.uint8)


def row_of(honest: Honest, scheme: Any = None) -> Any:
    table = Rows("hidden", None, "simulated")
    listing_rows(table, scheme or Hidden(), honest)
    (row,) = table.rows
    return row


def test_equal_sets_cost_what_the_count_of_subsets_says() -> None:
    row = row_of(ran(of_size(20, 40)))
    wanted = subsets_to_try(POINTS, 20, NEEDED)
    assert row.value == row.low == row.high == pytest.approx(wanted)
    assert (row.side, row.method, row.unit) == ("defender-at-most", METHOD, "bit")


def test_people_with_more_features_are_opened_sooner_and_pull_the_figure_down() -> None:
    """Half of the people have 10 features and half 40: odds are averaged, not bits."""
    few, many = (subsets_to_try(POINTS, s, NEEDED) for s in (10, 40))
    row = row_of(ran(np.concatenate([of_size(10, 20), of_size(40, 20)])))
    assert row.value == pytest.approx(-np.log2((2**-few + 2**-many) / 2))
    assert many < row.value < (few + many) / 2
    assert row.low < row.value


def judged(log_prob: Array, honest: Honest) -> Array:
    rows, scheme = np.arange(honest.attempts), Hidden()
    scores = judge(
        Belief(log_prob=np.broadcast_to(log_prob, (len(rows), *log_prob.shape)).copy()), scheme, honest,
        disclosure_of(scheme, honest), attempt=rows, attacker=rows * 0 - 1, prior=log_prob,
    )  # fmt: skip
    assert scores.method == "listed-best-first-64"
    return scores.ranks.success(1, offline=False)[0]


def opened(shares: Array, rows: int) -> float:
    """How often the commonest listed features open a list, by the source's own shares."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(rows):
        own = rng.random(UNIVERSE) < shares
        chaff = rng.permutation(np.flatnonzero(~own))[: POINTS - own.sum()]
        listed = np.concatenate([np.flatnonzero(own), chaff])
        order = listed[np.argsort(-shares[listed] - 1e-9 * rng.random(len(listed)))]
        right = np.cumsum(own[order])[NEEDED - 1 : NEEDED + 63]
        size = np.arange(NEEDED, NEEDED + len(right))
        hits += bool((size - right <= (size - NEEDED) // 2).any())
    return hits / rows


def test_common_features_tell_chaff_apart_and_even_ones_do_not() -> None:
    """40 features that 3 of 10 people have among 260 rare ones; or all 300 alike, as many a person."""
    uneven = np.full(UNIVERSE, 0.03)
    uneven[np.random.default_rng(1).permutation(UNIVERSE)[:40]] = 0.3
    even = np.full(UNIVERSE, uneven.mean())
    odds = {}
    for name, shares in (("uneven", uneven), ("even", even)):
        belief = symbol_prior(drawn(shares, 2000, 2), 2)  # of other people
        sets = drawn(shares, 120, 3)
        sets = sets[sets.sum(axis=1) >= NEEDED]
        odds[name] = judged(belief, ran(sets)).mean()
    wanted = opened(uneven, 4000)
    assert 0.6 < wanted < 0.9
    assert odds["uneven"] == pytest.approx(wanted, abs=3 * np.sqrt(wanted * (1 - wanted) / 120))
    assert odds["even"] < 0.05


def test_sets_are_the_most_believed_of_those_listed() -> None:
    p = np.array([0.9, 0.1, 0.5, 0.7, 0.0])
    with np.errstate(divide="ignore"):
        log_prob = np.log(np.stack([1 - p, p], axis=1))[None]
    found = believed_sets(log_prob, np.array([[1, 2, 3, 4]]), needed=2, count=9)
    assert found[0].tolist() == [[0, 0, 1, 1, 0], [0, 1, 1, 1, 0], [0, 1, 1, 1, 1]]
    assert believed_sets(log_prob, np.array([[1, 2, 3]]), needed=1, count=1)[0].tolist() == [
        [0, 0, 0, 1, 0]
    ]


@dataclass(frozen=True, slots=True)
class Astray(Hidden):
    """Lists places one further."""

    def listed(self, helper: Helper) -> Array:
        return (self.inner.listed(helper) + 1) % UNIVERSE


@dataclass(frozen=True, slots=True)
class Beyond(Hidden):
    def listed(self, helper: Helper) -> Array:
        return self.inner.listed(helper) + UNIVERSE


@dataclass(frozen=True, slots=True)
class Nothing(Hidden):
    @property
    def needed(self) -> int:
        return 0


@pytest.mark.parametrize(
    ("scheme", "says"),
    [
        (Astray(), "`listed()` must be at least 5 of A's features in every list"),
        (Beyond(), "different places below 300"),
        (Nothing(), "`needed` must be a whole number from 1 to 80"),
    ],
    ids=lambda x: type(x).__name__,
)
def test_a_list_that_is_none_fails_its_row(scheme: Any, says: str) -> None:
    row = row_of(ran(of_size(12, 8)), scheme)
    assert row.status == "failed"
    assert says in row.reason


def test_a_scheme_without_a_list_has_no_such_row() -> None:
    table = Rows("x", None, "simulated")
    listing_rows(table, object(), ran(of_size(12, 8)))
    assert table.rows == []


def test_an_audit_counts_the_work_and_says_so() -> None:
    channel = Channel(subjects=6, sessions=1, length=UNIVERSE, ones=0.1, errors=((DEVICE_B, 0.0),))
    scheme = Hidden()
    assert isinstance(scheme, Listing)
    found = audit(scheme, corpus=channel, attacks=["helper-leak"])
    (row,) = (r for r in found.rows if r.method == METHOD)
    assert row.value is not None
    assert subsets_to_try(POINTS, 45, NEEDED) < row.value < subsets_to_try(POINTS, 22, NEEDED)
    (finding,) = (f for f in found.findings if f.id == "opened-by-trials")
    assert (finding.severity, finding.attack) == ("high", None)
    (left,) = (r for r in found.rows if (r.measure, r.method) == ("bits-left", "given-helper"))
    assert left.value == pytest.approx(row.value)
    assert METHOD in str(left.reason)
    sound = replace(scheme, key_bits=7, inner=replace(scheme.inner, key_bits=7))
    again = audit(sound, corpus=channel, attacks=["helper-leak"])
    assert not [f for f in again.findings if f.id == "opened-by-trials"]
