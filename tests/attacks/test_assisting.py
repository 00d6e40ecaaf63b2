"""Adversaries read with published help as B does: they reach the figures of the integral, and no more."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit, ndtr, ndtri
from scipy.stats import binom, norm

from attacks.assisting import fits, read_with_help
from attacks.body_site import BodySite
from attacks.profiled import Profiled
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.contracts import DEVICE_B, Array, Capture, Exchange, Helper, Linear, View, Witness
from harness.errors import ContractError
from harness.gf2 import all_words
from harness.optional_parts import Assisting
from schemes.assisted import Assistance, Assisted
from schemes.codes import code
from schemes.guard_bands import GuardBands
from schemes.zero_leakage import CellPositions, cell, position

ROWS, M, RHO = 150, 40, 0.9
LEARNING = (12 / (2 * ROWS * M) + 2e-4) / np.log(2)  # twelve weights (Wilks), and the least doubt


@dataclass(frozen=True)
class Read:
    """Cells of the samples themselves, read with some help."""

    help_given: Assistance
    levels: int = 2
    name: str = "read"

    def witness(self, capture: Capture) -> Witness:
        x = capture.samples[:, 0]
        return Witness(
            symbols=cell(ndtr(x), self.levels), alphabet=self.levels,
            acquired=np.ones(len(x), bool), features=x[..., None],
        )  # fmt: skip

    def assisted(self, witness: Witness, helper: Helper) -> Witness:
        return self.help_given.reread(witness, helper)


@dataclass(frozen=True)
class ReadAlone:
    """The same without a word on how to read with help."""

    levels: int = 2
    name: str = "alone"

    def witness(self, capture: Capture) -> Witness:
        return Read(CellPositions(levels=self.levels), self.levels).witness(capture)


def sensed(x: Array) -> Capture:
    return Capture(samples=x[:, None], rate_hz=None, signal="value", unit="1")


def view(scheme: Read, symbols: int, gain: float = 1.0) -> tuple[View, Array]:
    """Other people and victims, a sensor at correlation RHO, and what A published; and A's symbols."""
    rng = np.random.default_rng(4)
    people, victims = rng.standard_normal((2, ROWS, M))
    near = [
        gain * (RHO * x + np.sqrt(1 - RHO**2) * rng.standard_normal(x.shape)) for x in (people, victims)
    ]
    true = [scheme.witness(sensed(x)) for x in (people, victims)]
    helper = [scheme.help_given.publish(w, symbols)[1] for w in true]
    subject = np.arange(ROWS) // 5
    population = Exchange(
        subject=subject, session=subject * 0, captures={"other-site": sensed(near[0])},
        helper=helper[0], witness=true[0], keys=np.zeros((ROWS, 1), np.uint8),
    )  # fmt: skip
    made = View(
        scheme=scheme, attempts=ROWS, subject=subject + 100, session=subject * 0,
        captures={"other-site": sensed(near[1])}, helper=helper[1], population=population,
    )  # fmt: skip
    return made, true[1].symbols


def gained(log_prob: Array, symbols: Array, levels: int) -> tuple[float, float]:
    """Bits per symbol that were gained, and the standard error."""
    told = np.log2(levels) + np.take_along_axis(log_prob, symbols[..., None].astype(int), 2)[
        ..., 0
    ] / np.log(2)
    return float(told.mean()), float(told.std() / np.sqrt(told.size))


def with_positions(levels: int) -> tuple[float, float]:
    """Bits of I(cell; sensor | position), and how often its likeliest cell is right, by integration."""
    spread = np.sqrt(1 - RHO**2)
    z = np.linspace(-8, 8, 4001)
    told = right = 0.0
    places = (np.arange(400) + 0.5) / 400
    for u in places:
        points = ndtri((np.arange(levels) + u) / levels)
        density = norm.pdf(z[:, None], RHO * points, spread) / levels
        total = density.sum(axis=1)
        share = np.where(density > 0, density / total[:, None].clip(1e-300), 1e-300)
        entropy = -(share * np.log2(share.clip(1e-300))).sum(axis=1)
        told += np.log2(levels) - np.trapezoid(total * entropy, z)
        right += np.trapezoid(density.max(axis=1), z)
    return told / len(places), right / len(places)


@pytest.mark.parametrize(("levels", "gain"), [(2, 1.0), (4, 1.0), (4, 0.2)])
def test_with_positions_a_sensor_reaches_what_they_and_it_tell_together(levels: int, gain: float) -> None:
    made, symbols = view(Read(CellPositions(levels=levels), levels), M, gain)
    log_prob = BodySite().believe(made, rng=np.random.default_rng(1)).log_prob
    wanted, right = with_positions(levels)
    value, error = gained(log_prob, symbols, levels)
    assert wanted - LEARNING - 4 * error < value < wanted + 4 * error
    agreed = (log_prob.argmax(axis=2) == symbols).mean()
    assert agreed == pytest.approx(right, abs=4 * np.sqrt(right * (1 - right) / symbols.size) + 0.003)


def test_two_cells_agree_as_often_as_b_does_and_without_the_help_as_signs_do() -> None:
    """.943 and .857 at a correlation of .9."""
    assert with_positions(2)[1] == pytest.approx(0.943, abs=0.002)
    made, symbols = view(Read(CellPositions(levels=2)), M)
    for changed in (replace(made, helper={}), replace(made, scheme=ReadAlone())):
        log_prob = BodySite().believe(changed, rng=np.random.default_rng(1)).log_prob
        agreed, signs = (log_prob.argmax(axis=2) == symbols).mean(), 0.5 + np.arcsin(RHO) / np.pi
        assert agreed == pytest.approx(signs, abs=4 * np.sqrt(signs * (1 - signs) / symbols.size))


def test_the_same_bytes_without_help_as_with_a_scheme_that_says_nothing_of_it() -> None:
    made, _ = view(Read(CellPositions(levels=2)), M)
    plain = replace(made, scheme=ReadAlone())
    without = [replace(made, helper={}), plain, replace(plain, helper={})]
    for attack in (BodySite(), Profiled("other-site")):
        said = [attack.believe(v, rng=np.random.default_rng(1)).log_prob.tobytes() for v in without]
        assert said[0] == said[1] == said[2]


def test_a_strangers_positions_do_not_help() -> None:
    made, symbols = view(Read(CellPositions(levels=2)), M)
    helper = {"positions": np.roll(made.helper["positions"], 5, axis=0)}
    assert made.population is not None
    theirs = {"positions": np.roll(made.population.helper["positions"], 5, axis=0)}
    strange = replace(made, helper=helper, population=replace(made.population, helper=theirs))
    value, error = gained(BodySite().believe(strange, rng=np.random.default_rng(1)).log_prob, symbols, 2)
    slope = RHO / np.sqrt(1 - RHO**2)

    def entropy(p: float) -> float:
        return float(-p * np.log2(p) - (1 - p) * np.log2(1 - p)) if 0 < p < 1 else 0.0

    plain = 1 - quad(lambda z: norm.pdf(z) * entropy(ndtr(slope * z)), -9, 9)[0]
    assert value < plain + 4 * error


def kept_information(threshold: float) -> float:
    """I(sign; sensor) of features whose clearance passes a threshold, bits."""
    spread = np.sqrt(1 - RHO**2)
    z = np.linspace(-8, 8, 8001)
    up = norm.pdf(z) * norm.sf((threshold - RHO * z) / spread)
    total = up + up[::-1]
    p = up / total
    entropy = -(p * np.log2(p.clip(1e-300)) + (1 - p) * np.log2((1 - p).clip(1e-300)))
    return float(1 - np.trapezoid(total * entropy, z) / np.trapezoid(total, z))


def test_features_that_were_kept_are_believed_more() -> None:
    """Ten of forty kept: the threshold lies near the upper eighth, and differs from attempt to attempt."""
    scheme = Read(GuardBands(features=M, levels=2))
    made, symbols = view(scheme, 10)
    log_prob = BodySite().believe(made, rng=np.random.default_rng(1)).log_prob
    kept = made.helper["kept"].astype(int)
    taken = np.take_along_axis(log_prob, kept[..., None], 1)
    value, error = gained(taken, np.take_along_axis(symbols, kept, 1), 2)
    wanted = kept_information(float(ndtri(1 - 10 / M / 2)))
    assert abs(value - wanted) < 0.012 + 4 * error
    alone = BodySite().believe(replace(made, helper={}), rng=np.random.default_rng(1)).log_prob
    before, _ = gained(
        np.take_along_axis(alone, kept[..., None], 1), np.take_along_axis(symbols, kept, 1), 2
    )
    assert value > before + 0.005


def test_a_learned_attack_reads_with_help_too() -> None:
    made, symbols = view(Read(CellPositions(levels=2)), M)
    value, error = gained(
        Profiled("other-site").believe(made, rng=np.random.default_rng(1)).log_prob, symbols, 2
    )
    assert value > with_positions(2)[0] - 0.02 - 4 * error


def test_with_nobody_to_learn_from_symbols_are_read_with_help() -> None:
    made, symbols = view(Read(CellPositions(levels=2)), M)
    alone = BodySite().believe(replace(made, population=None), rng=np.random.default_rng(1)).log_prob
    assert (alone.argmax(axis=2) == symbols).mean() == pytest.approx(with_positions(2)[1], abs=0.02)


def test_weights_of_fits_are_those_of_the_source() -> None:
    """A sum of two ways with weights of 2 and -.5, and a bias of .3."""
    rng = np.random.default_rng(2)
    ways = rng.standard_normal((2000, 10, 2, 2))
    odds = 2 * (ways[:, :, 0, 1] - ways[:, :, 0, 0]) - 0.5 * (ways[:, :, 1, 1] - ways[:, :, 1, 0]) + 0.3
    symbols = (rng.random(odds.shape) < expit(odds)).astype(np.uint8)
    seen = Witness(
        symbols=symbols, alphabet=2, acquired=np.ones(2000, bool), features=ways.reshape(2000, 10, 4)
    )
    channel = fits(seen, seen, rng)
    assert channel is not None
    told = channel(seen)
    found = told[:, :, 1] - told[:, :, 0]
    assert np.abs(found - odds).max() < 0.05 * np.abs(odds).max()
    assert fits(replace(seen, features=ways.reshape(2000, 10, 4)[:, :, :3]), seen, rng) is None


def test_what_is_no_witness_is_refused_by_name() -> None:
    @dataclass(frozen=True)
    class Broken(Read):
        def assisted(self, witness: Witness, helper: Helper) -> Witness:
            return replace(witness, symbols=witness.symbols[:, 1:], features=None)

    broken = Broken(CellPositions(levels=2))
    assert isinstance(broken, Assisting)
    one = broken.witness(sensed(np.zeros((3, 5))))
    with pytest.raises(ContractError, match=r"assisted\(\)"):
        read_with_help(broken, one, {"positions": np.zeros((3, 5), np.uint16)})


@dataclass(frozen=True, kw_only=True)
class Positions(SignCommitment):
    """Signs bound to a key, read with positions."""

    name: str = "positions"

    @property
    def _assisted(self) -> Assisted:
        return Assisted(commitment=self._commitment, assistance=CellPositions(levels=2, correlation=RHO))

    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        return self._assisted.generate(witness, rng=rng)

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        return self._assisted.reproduce(witness, helper)

    def linear(self, helper: Helper) -> Linear:
        return self._assisted.linear(helper)


@dataclass(frozen=True, kw_only=True)
class HelpedPositions(Positions):
    """The same, and it says how it is read."""

    def assisted(self, witness: Witness, helper: Helper) -> Witness:
        return self._assisted.assisted(witness, helper)


def best_odds(rounds: int = 20_000) -> float:
    """How often the likeliest of all 4096 words is A's, by the source's own probabilities."""
    rng = np.random.default_rng(0)
    a = rng.standard_normal((rounds, 23))
    z = RHO * a + np.sqrt(1 - RHO**2) * rng.standard_normal(a.shape)
    points = ndtri((np.arange(2) + position(ndtr(a), 2)[..., None]) / 2)
    odds = RHO * (points[..., 1] - points[..., 0]) * (z - RHO * points.mean(axis=2)) / (1 - RHO**2)
    away = code("golay-23-12").encode(all_words(12)).astype(float)  # where another word differs from A's
    return float(((np.where(a > 0, odds, -odds) @ away.T).min(axis=1) >= -1e-9).mean())


def test_who_senses_as_well_as_b_gets_what_the_best_decoder_gets() -> None:
    """B corrects three errors of 23 at .057 each and agrees in .958; without help an attacker gets less."""
    channel = Channel(subjects=40, sessions=1, correlations=((DEVICE_B, RHO), ("other-site", RHO)))
    told = []
    for scheme in (Positions(), HelpedPositions()):
        rows = audit(scheme, corpus=channel, attacks=["body-site"]).rows
        told.append({(r.measure, r.budget): r.value or 0.0 for r in rows})
    without, with_help = told
    agreed, best = float(binom.cdf(3, 23, 1 - with_positions(2)[1])), best_odds()
    assert best == pytest.approx(0.996, abs=0.002)

    def error(p: float) -> float:
        return 4 * float(np.sqrt(p * (1 - p) / 200))

    assert with_help["key-agreement", None] == pytest.approx(agreed, abs=error(agreed))
    assert with_help["success-odds", 1] == pytest.approx(best, abs=error(best))
    assert without["success-odds", 1] < agreed - error(agreed)
