"""What can stand behind a quantiser: help about features, vaults, rounds of parities."""

from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pytest

from harness.contracts import Disclosed, Interactive, Scheme
from schemes import gf2
from schemes.composed import composed
from schemes.joining import ASSISTANCE
from tests.schemes.bodies import beats, emg, intervals, muscle

TREE: dict[str, Any] = {
    "name": "levels",
    "signal": "emg",
    "key_bits": 24,
    "quantiser": {"kind": "level"},
    "sketch": {"blocks": 2},
}


@pytest.mark.parametrize("assistance", ["guard-bands", "cell-positions"])
def test_help_about_features_is_published_and_serves(assistance: str) -> None:
    """Both lower the errors that the sketch has to correct; what is disclosed stays true."""
    rng = np.random.default_rng(3)
    clean = beats(rng, 30, 130)
    a, b = (intervals(clean + 0.008 * rng.standard_normal(clean.shape)) for _ in range(2))
    tree = {**TREE, "signal": "intervals", "key_bits": 20, "sketch": {"code": "bch-63-24"}}
    counts = []
    for kind in ("none", assistance):
        made = composed({**tree, "assistance": {"kind": kind, **ASSISTANCE[kind]}})
        if kind == "guard-bands":
            made = made.with_parameters(**{"assistance.features": 120})
        witness = made.witness(a)
        keys, helper = made.generate(witness, rng=rng)
        again, accepted = made.reproduce(made.witness(b), helper)
        assert np.array_equal(again[accepted], keys[accepted])
        counts.append(int(accepted.sum()))
        linear = made.linear(helper)
        bits = np.pad(made.labels[witness.symbols].reshape(30, -1), ((0, 0), (0, 1)))
        read = np.take_along_axis(bits, linear.positions[:, 0] % bits.shape[1], axis=1)
        assert np.array_equal(gf2.product(read, linear.parity.T), linear.syndrome[:, 0])
    assert counts[1] > counts[0] + 3


def test_rounds_of_parities_make_an_interactive_scheme() -> None:
    rng = np.random.default_rng(4)
    clean = beats(rng, 12, 130)
    a, b = (intervals(clean + 0.003 * rng.standard_normal(clean.shape)) for _ in range(2))
    made = composed(
        {
            **TREE,
            "signal": "intervals",
            "key_bits": 20,
            "quantiser": {"kind": "level"},
            "sketch": {"kind": "parity-rounds", "bits": 256, "spare_bits": 8},
        },
        **{"quantiser.levels": 4},
    )
    assert isinstance(made, Interactive)
    assert not hasattr(made, "linear")
    own, theirs = made.witness(a), made.witness(b)
    assert own.symbols.shape == (12, 128)
    keys, again, accepted, helper = made.agree(own, theirs, rng=rng)
    assert accepted.sum() > 8
    assert np.array_equal(keys[accepted], again[accepted])
    heard, sure = made.reproduce(own, helper)
    assert np.array_equal(heard[sure], keys[sure])
    assert pickle.loads(pickle.dumps(made)).parameters == made.parameters


def test_a_vault_over_the_set_of_crossings() -> None:
    rng = np.random.default_rng(5)
    samples = muscle(rng, 6, 28.0)
    made = composed(
        {
            **TREE,
            "key_bits": 40,
            "quantiser": {"kind": "crossings", "steps": 1},
            "sketch": {"kind": "vault", "secret_symbols": 8, "points": 200, "universe": 255, "size": 60},
        }
    )
    assert isinstance(made, Scheme)
    assert not isinstance(made, Disclosed)
    witness = made.witness(emg(samples))
    keys, helper = made.generate(witness, rng=rng)
    again, accepted = made.reproduce(
        made.witness(emg(samples + 2 * rng.standard_normal(samples.shape))), helper
    )
    assert accepted.sum() >= 4
    assert np.array_equal(again[accepted], keys[accepted])


@pytest.mark.parametrize(
    ("sections", "text"),
    [
        ({"sketch": {"kind": "vault"}}, "symbols say whether a feature is there, 0 or 1, got 4"),
        ({"sketch": {"kind": "vault", "code": "golay-24-12"}}, "'sketch.code' of this scheme"),
        ({"sketch": {"kind": "parity-rounds", "bits": "a"}}, "`sketch.bits` must be a whole number"),
        ({"sketch": {"kind": "parity-rounds", "bits": 64}, "key_bits": 64}, "`key_bits` must be 1 to"),
        ({"sketch": {"kind": "parity-round"}}, "nearest is 'parity-rounds'"),
        ({"assistance": {"kind": "guard"}}, "`assistance` must be one of .* nearest is 'guard-bands'"),
        ({"assistance": {"kind": "guard-bands", "features": 3}}, "`features` must be at least 24"),
        ({"assistance": {"kind": "cell-positions", "correlation": 2}}, "`correlation`"),
        ({"assistance": {"correlation": 1}}, "'assistance.correlation' of this scheme"),
        (
            {"assistance": {"kind": "guard-bands"}, "sketch": {"kind": "parity-rounds"}},
            "must be 'none' beside",
        ),
    ],
)
def test_sections_that_do_not_fit_are_refused(sections: dict[str, Any], text: str) -> None:
    with pytest.raises(ValueError, match=text) as told:
        composed({**TREE, **sections})
    assert "\n" not in str(told.value)
