"""Arrays of which a scheme says nothing are learned from other people, symbol by symbol."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from attacks.help_untold import told_by_arrays
from fixtures.flaws.quality import WithLevels, leaning_levels
from harness.contracts import Exchange, Helper, Linear, View, Witness

PEOPLE, ATTEMPTS = 40, 5


def seen(centre: float) -> tuple[View, np.ndarray]:
    """A view of one half of the people, who publish levels; the other half is known."""
    side = leaning_levels().planted
    scheme = replace(side.scheme, centre=centre)
    corpus = replace(side.corpus, subjects=PEOPLE, sessions=1)
    made = []
    for sitting in corpus.sittings():
        capture = corpus.block(sitting, frozenset({"device-a:value"}))["device-a:value"].capture
        witness = scheme.witness(capture)
        keys, helper = scheme.generate(witness, rng=np.random.default_rng(sitting.subject))
        made.append((witness, keys, helper))
    symbols = np.concatenate([w.symbols for w, _, _ in made])
    helper = {n: np.concatenate([h[n] for _, _, h in made]) for n in made[0][2]}
    half, subject = len(symbols) // 2, np.repeat(np.arange(PEOPLE), ATTEMPTS)
    others = Exchange(
        subject=subject[:half],
        session=subject[:half] * 0,
        captures={},
        helper={n: a[:half] for n, a in helper.items()},
        witness=Witness(symbols=symbols[:half], alphabet=2, acquired=np.ones(half, bool)),
        keys=np.concatenate([k for _, k, _ in made])[:half],
    )
    view = View(
        scheme=scheme,
        attempts=half,
        subject=subject[half:],
        session=subject[half:] * 0,
        captures={},
        helper={n: a[half:] for n, a in helper.items()},
        population=others,
    )
    return view, symbols[half:]


def information(view: View, symbols: np.ndarray) -> float:
    """Bits gained per fair sign."""
    told = told_by_arrays(view, rng=np.random.default_rng(0))
    assert told is not None
    belief = told - np.logaddexp.reduce(told, axis=2, keepdims=True)
    log_prob = np.take_along_axis(belief, symbols[:, :, None].astype(np.intp), axis=2)
    return float(1 + log_prob.mean() / np.log(2))


def truth(centre: float) -> float:
    """Bits that |x - centre| tells of the sign of a Gaussian value, by numerical integration."""
    far = np.linspace(0.0, 8.0, 80_001)
    up, down = norm.pdf(centre + far), norm.pdf(centre - far)
    plus = np.where(centre + far > 0, up, 0.0) + np.where(centre - far > 0, down, 0.0)
    total = up + down
    p = np.clip(plus / total, 1e-300, 1 - 1e-15)
    lost = -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
    return float(1 - np.trapezoid(total * lost, far))


@pytest.mark.parametrize("centre", [0.2, 1.0])
def test_gains_most_of_what_arithmetic_says_there_is(centre: float) -> None:
    gained = information(*seen(centre))
    assert 0.6 * truth(centre) < gained < truth(centre) + 0.02


def test_distances_from_the_threshold_tell_nothing() -> None:
    assert information(*seen(0.0)) == pytest.approx(0.0, abs=0.01)


def test_what_the_disclosure_reads_is_left_to_it() -> None:
    view, _ = seen(0.2)
    assert view.population is not None
    bare = replace(
        view,
        helper={"offset": view.helper["offset"]},
        population=replace(view.population, helper={"offset": view.population.helper["offset"]}),
    )
    assert told_by_arrays(bare, rng=np.random.default_rng(0)) is None


def test_arrays_of_other_sizes_are_no_levels() -> None:
    view, _ = seen(0.2)
    odd = replace(view, helper={**view.helper, "level": view.helper["level"][:, :-1]})
    assert told_by_arrays(odd, rng=np.random.default_rng(0)) is None


class Copies(WithLevels):
    """Copies all helper data before it reads the one array that it needs."""

    __slots__ = ()

    def linear(self, helper: Helper) -> Linear:
        return WithLevels.linear(self, dict(helper))


def test_a_copy_of_all_helper_data_hides_no_array() -> None:
    view, _ = seen(0.2)
    told = told_by_arrays(view, rng=np.random.default_rng(0))
    hidden = told_by_arrays(replace(view, scheme=Copies(centre=0.2)), rng=np.random.default_rng(0))
    assert told is not None
    assert hidden is not None
    np.testing.assert_array_equal(told, hidden)


def test_nobody_to_learn_from() -> None:
    view, _ = seen(0.2)
    assert told_by_arrays(replace(view, population=None), rng=np.random.default_rng(0)) is None
