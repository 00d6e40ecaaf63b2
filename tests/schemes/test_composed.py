"""Schemes from TOML files: what they are put together of, and what is said of a file that does not fit."""

from __future__ import annotations

import copy
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.contracts import Disclosed, Scheme, Timed
from harness.errors import UsageError
from harness.plugins import parameters_of, resolve, shown, summary_of
from harness.varying import parameters_varied, takes, variant
from schemes import gf2
from schemes.composed import composed
from schemes.envelope_trend import EnvelopeTrend
from schemes.joining import usual
from schemes.quantisers import QUANTISERS, quantiser_parameters
from schemes.sketches import SKETCHES
from tests.schemes.bodies import beats, emg, intervals, muscle, walking

TEXT = """
name = "levels"
signal = "emg"
key_bits = 24
summary = "Levels under a Golay code."

[quantiser]
kind = "level"
window_s = 0.15

[sketch]
code = "golay-24-12"
blocks = 2
"""
TREE: dict[str, Any] = {
    "name": "levels",
    "signal": "emg",
    "key_bits": 24,
    "quantiser": {"kind": "level"},
    "sketch": {"blocks": 2},
}


@pytest.fixture
def written(tmp_path: Path) -> Path:
    path = tmp_path / "levels.toml"
    path.write_text(TEXT, "utf-8")
    return path


def test_a_file_is_a_scheme(written: Path) -> None:
    plugin = resolve("scheme", str(written))
    made = plugin.value
    assert isinstance(made, Scheme)
    assert isinstance(made, Disclosed)
    assert isinstance(made, Timed)
    assert (made.name, made.signal, made.key_bits) == ("levels", "emg", 24)
    assert summary_of(made) == "Levels under a Golay code."
    assert made.quantiser.window_s == 0.15
    assert shown(plugin.source) == "levels.toml"
    assert pickle.loads(pickle.dumps(made)) == copy.deepcopy(made) == made
    assert made.parameters == {
        "key_bits": 24,
        "quantiser.kind": "level",
        "quantiser.channels": 1,
        **{f"quantiser.{key}": value for key, value in quantiser_parameters("level").items()},
        "quantiser.window_s": 0.15,
        **usual("code-offset", "none"),
        "sketch.blocks": 2,
    }
    assert parameters_of(made)["quantiser.plausible_s"] == [0.3, 2.0]


def test_written_out_it_is_the_scheme_that_python_makes() -> None:
    own = EnvelopeTrend(blocks=3, key_bits=36)
    made = composed(
        {
            "name": "x",
            "signal": "emg",
            "key_bits": 36,
            "quantiser": {"kind": "trend", "thresholds": [-0.674, 0.0, 0.674]},
            "sketch": {"blocks": 3},
        }
    )
    capture = emg(muscle(np.random.default_rng(0), 4, 10.0))
    witness = made.witness(capture)
    assert np.array_equal(witness.symbols, own.witness(capture).symbols)
    keys, helper = made.generate(witness, rng=np.random.default_rng(1))
    theirs, same = own.generate(witness, rng=np.random.default_rng(1))
    assert np.array_equal(keys, theirs)
    assert all(np.array_equal(helper[key], same[key]) for key in same)
    assert np.array_equal(made.sensing_seconds(capture), own.sensing_seconds(capture))


@pytest.mark.parametrize("sketch", SKETCHES)
@pytest.mark.parametrize("kind", QUANTISERS)
def test_every_quantiser_under_every_sketch_is_disclosed_truly(kind: str, sketch: str) -> None:
    rng = np.random.default_rng(2)
    if kind == "gait-deviation":
        capture = walking(rng, 4, 20.0)
    elif kind == "interval-gray":
        capture = intervals(beats(rng, 4, 70))
    else:
        capture = emg(muscle(rng, 4, 20.0))
    made = composed(
        {
            "name": "x",
            "signal": capture.signal,
            "key_bits": 8,
            "quantiser": {"kind": kind},
            "sketch": {"kind": sketch, "code": "bch-31-16", "straddle": True},
            "extraction": {"kind": "toeplitz"},
        }
    )
    witness = made.witness(capture)
    assert witness.acquired.all()
    keys, helper = made.generate(witness, rng=rng)
    again, accepted = made.reproduce(witness, helper)
    assert accepted.all()
    assert np.array_equal(again, keys)
    linear = made.linear(helper)
    bits = np.pad(made.labels[witness.symbols].reshape(4, -1), ((0, 0), (0, 1)))[:, linear.positions[0]]
    assert np.array_equal(gf2.product(bits, linear.parity.T), linear.syndrome)
    secret = gf2.product(bits, linear.secret_map.T) ^ linear.secret_offset
    assert np.array_equal(made.finish(secret.reshape(4, -1), helper), keys)


def test_parameters_may_follow_the_path(written: Path) -> None:
    spec = f"{written}:quantiser.window_s=0.3,sketch.code=golay-23-12,key_bits=20,name=other"
    made = resolve("scheme", spec).value
    assert (made.name, made.key_bits) == ("other", 20)
    assert (made.parameters["quantiser.window_s"], made.parameters["sketch.code"]) == (0.3, "golay-23-12")
    assert shown(spec).startswith("levels.toml:quantiser.window_s=0.3")
    several = resolve("scheme", f"{written}:quantiser.plausible_s=(0.4, 1.5)").value
    assert several.quantiser.plausible_s == (0.4, 1.5)


def test_parameters_can_be_varied(written: Path) -> None:
    made = resolve("scheme", str(written)).value
    corpus = resolve("corpus", "cargo-bike").value
    assert "quantiser.window_s" in takes("scheme", made)
    for vary in ("quantiser.window_s=0.1:0.3:3", "scheme.quantiser.window_s=0.1:0.3:3"):
        (found,) = parameters_varied(vary, scheme=made, corpus=corpus)
        assert (found.of, found.name) == ("scheme", "quantiser.window_s")
        assert found.values == pytest.approx((0.1, 0.2, 0.3))
    (found,) = parameters_varied("quantiser.levels=2,4", scheme=made, corpus=corpus)
    assert found.values == (2, 4)
    by_name = variant("scheme", str(written), {"quantiser.window_s": 0.1, "name": "quick"})
    by_object = variant("scheme", made, {"quantiser.window_s": 0.1, "name": "quick"})
    assert resolve("scheme", by_name).value == by_object
    assert by_object != made
    with pytest.raises(UsageError, match=r"did you mean 'quantiser\.window_s'"):
        parameters_varied("quantiser.windows=1,2", scheme=made, corpus=corpus)
    with pytest.raises(UsageError, match="`levels` must be a whole number"):
        variant("scheme", made, {"quantiser.levels": 1})


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (("name =", "nam ="), "'name' must be given, found nam, signal"),
        (('"levels"', "3"), "`name` must be a word in quotes, got 3"),
        (("key_bits = 24", ""), "'key_bits' must be given"),
        (("key_bits = 24", "key_bits = true"), "`key_bits` must be a whole number, got True"),
        (("key_bits = 24", 'key_bits = "a"'), "`key_bits` must be 1 to 24"),
        (("key_bits = 24", "key_bits = 25"), "1 to 24, which is the secret, got 25"),
        (("[quantiser]", "[quantizer]"), "'quantiser.kind' must be given"),
        (("[sketch]", "[skecth]"), "'skecth.code' of this scheme; did you mean 'sketch.code'"),
        (('"level"', '"levl"'), "the nearest is 'level'"),
        (('"level"', "7"), "`quantiser.kind` must be a word in quotes, got 7"),
        (("window_s", "window"), "'quantiser.window' of this scheme; did you mean 'quantiser.window_s'"),
        (("0.15", '"fast"'), "`window_s` must be positive and finite, got 'fast'"),
        (("0.15", "true"), "`window_s`"),
        (("0.15", "nan"), "`window_s`"),
        (("0.15", "{a = 1}"), "`window_s`"),
        (("golay-24-12", "golay-42"), "nearest is 'golay-24-12'"),
        (('"golay-24-12"', "24"), "`sketch.code` must be a word in quotes, got 24"),
        (("blocks = 2", "blocks = 0"), "`blocks` must be a whole number of at least 1, got 0"),
        (("blocks = 2", "blocks = 2.5"), "`blocks`"),
        (("blocks = 2", 'blocks = 2\nkind = "offset"'), "nearest is 'code-offset'"),
        (("blocks = 2", "blocks = 2\nstraddle = 1"), "`sketch.straddle` must be true or false, got 1"),
        (("blocks = 2", 'blocks = 2\n[extraction]\nkind = "hdkf"'), "nearest is 'hkdf'"),
        (('"emg"', '"intervals"\nx = 1'), "'x' of this scheme"),
        (('kind = "level"\nwindow_s = 0.15', 'kind = "interval-gray"'), "reads, intervals, got 'emg'"),
        (("summary = ", "summary = 1 #"), "`summary` must be a sentence in quotes, got 1"),
        (("[quantiser]", "[quantiser"), "must be TOML, got something else in .*levels.toml"),
    ],
)
def test_what_does_not_fit_is_one_sentence_that_names_the_file(
    written: Path, change: tuple[str, str], text: str
) -> None:
    assert change[0] in TEXT
    written.write_text(TEXT.replace(*change, 1), "utf-8")
    with pytest.raises(UsageError, match=text) as told:
        resolve("scheme", str(written))
    assert "levels.toml" in str(told.value)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("spec", "text"),
    [
        ("{}:Levels", "one scheme, without a name behind it, got 'Levels'"),
        ("{}:quantiser.window=1", "did you mean 'quantiser.window_s'"),
        ("{}:window_s=1", "no parameter 'window_s' .* did you mean 'quantiser.window_s'"),
        ("{}:quantiser.=1", "name=value"),
        ("{}x.toml", "found none at"),
    ],
)
def test_what_is_written_behind_the_path_is_checked(written: Path, spec: str, text: str) -> None:
    with pytest.raises(UsageError, match=text):
        resolve("scheme", spec.format(written))


def test_files_that_are_none_are_refused(tmp_path: Path, written: Path) -> None:
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\xfe")
    with pytest.raises(UsageError, match="UTF-8"):
        resolve("scheme", str(odd))
    odd.write_text("#" * (256 * 1024 + 1), "utf-8")
    with pytest.raises(UsageError, match="at most 262144 bytes"):
        resolve("scheme", str(odd))
    odd.write_text("a = " + "[" * 10_000, "utf-8")
    with pytest.raises(UsageError, match="TOML"):
        resolve("scheme", str(odd))
    with pytest.raises(UsageError, match="can be no attack"):
        resolve("attack", str(written))


def test_another_signal_is_refused_when_it_comes(written: Path) -> None:
    made = resolve("scheme", str(written)).value
    with pytest.raises(ValueError, match="'emg', got 'intervals'"):
        made.witness(intervals(np.ones((1, 1, 9))))
