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


def information(view: View, symbols: np.ndarray) -> tuple[float, float]:
    """Bits gained per fair sign, and the standard error of their mean: signs are independent."""
    told = told_by_arrays(view, rng=np.random.default_rng(0))
    assert told is not None
    belief = told - np.logaddexp.reduce(told, axis=2, keepdims=True)
    log_prob = np.take_along_axis(belief, symbols[:, :, None].astype(np.intp), axis=2)
    bits = 1 + log_prob / np.log(2)
    return float(bits.mean()), float(bits.std() / np.sqrt(bits.size))


def truth(centre: float) -> float:
    """Bits that |x - centre| tells of the sign of a Gaussian value, by numerical integration."""
    far = np.linspace(1e-9, 8.0, 80_001)
    up, down = norm.pdf(centre + far), norm.pdf(centre - far)
    plus = np.where(centre + far > 0, up, 0.0) + np.where(centre - far > 0, down, 0.0)
    total = up + down
    p = np.clip(plus / total, 1e-300, 1 - 1e-15)
    lost = -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
    return float(1 - np.trapezoid(total * lost, far))


@pytest.mark.parametrize("centre", [0.2, 1.0])
def test_gains_most_of_what_arithmetic_says_there_is(centre: float) -> None:
    gained, error = information(*seen(centre))
    # no belief gains more; six tenths are asked of a learner that must find a kink at the threshold
    assert 0.6 * truth(centre) < gained < truth(centre) + 4 * error


def test_distances_from_the_threshold_tell_nothing() -> None:
    gained, error = information(*seen(0.0))
    assert truth(0.0) == pytest.approx(0.0, abs=1e-9)
    assert -0.01 < gained < 4 * error  # no more than a hundredth of a bit is lost by learning from few


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


class Helps(WithLevels):
    """Says how `gain` helps to read its features, and nothing of its levels."""

    __slots__ = ()

    def assisted(self, witness: Witness, helper: Helper) -> Witness:
        assert witness.features is not None
        return replace(witness, features=witness.features * dict(helper)["gain"][:, :, None])


def test_levels_beside_help_are_learned_and_the_help_is_left_to_another_part() -> None:
    view, _ = seen(0.2)
    assert view.population is not None
    known = view.population.witness
    assert known is not None
    gain = np.random.default_rng(5).random((len(view.subject), known.symbols.shape[1])) + 0.5
    features = np.ones((*known.symbols.shape, 1))
    helped = replace(
        view,
        scheme=Helps(centre=0.2),
        helper={**view.helper, "gain": gain},
        population=replace(
            view.population,
            helper={**view.population.helper, "gain": gain},
            witness=replace(known, features=features),
        ),
    )
    told = told_by_arrays(view, rng=np.random.default_rng(0))
    beside = told_by_arrays(helped, rng=np.random.default_rng(0))
    assert told is not None
    assert beside is not None
    np.testing.assert_array_equal(told, beside)


def test_nobody_to_learn_from() -> None:
    view, _ = seen(0.2)
    assert told_by_arrays(replace(view, population=None), rng=np.random.default_rng(0)) is None
