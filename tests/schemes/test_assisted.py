"""Commitments with assistance: keys agree, and what is disclosed holds of the whole witness."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from harness.contracts import Array, Witness
from harness.decoding import block_words, secret_ranks, witness_bits
from harness.optional_parts import Assisting
from schemes import gf2
from schemes.assisted import Assistance, Assisted
from schemes.commitment import Commitment, commitment
from schemes.guard_bands import GuardBands
from schemes.zero_leakage import CellPositions, cell


def base(levels: int = 4, **change: object) -> Commitment:
    bits = (levels - 1).bit_length()
    sound = {
        "labels": gf2.gray(levels, bits),
        "blocks": 3,
        "straddle": False,
        "sketch": "code-offset",
        "code": "golay-23-12",
        "extraction": "identity",
        "key_bits": 36,
    }
    return commitment(**sound | change)  # type: ignore[arg-type]


def witness(features: Array, levels: int) -> Witness:
    return Witness(
        symbols=cell(ndtr(features), levels),
        alphabet=levels,
        acquired=np.ones(len(features), bool),
        features=features[..., None],
    )


def devices(made: Assisted, rho: float, *, levels: int, attempts: int = 200) -> tuple[Witness, Witness]:
    rng = np.random.default_rng(5)
    a = rng.standard_normal((attempts, made.symbols))
    b = rho * a + np.sqrt(1 - rho**2) * rng.standard_normal(a.shape)
    return witness(a, levels), witness(b, levels)


MADE = [
    (4, Assisted(commitment=base(4), assistance=CellPositions(levels=4, correlation=0.97))),
    (4, Assisted(commitment=base(4), assistance=GuardBands(features=70, levels=4))),
    (2, Assisted(commitment=base(2, sketch="syndrome"), assistance=GuardBands(features=120, levels=2))),
    (2, Assisted(commitment=base(2, extraction="toeplitz"), assistance=CellPositions(levels=2))),
]
every = pytest.mark.parametrize(("levels", "made"), MADE, ids=[f"{i}" for i in range(4)])


@every
def test_equal_features_give_equal_keys(levels: int, made: Assisted) -> None:
    a, _ = devices(made, 1.0, levels=levels)
    assert isinstance(made.assistance, Assistance)
    assert (made.key_bits, made.secret_bits) == (36, 36)
    keys, helper = made.generate(a, rng=np.random.default_rng(0))
    again, accepted = made.reproduce(a, helper)
    assert accepted.all()
    assert np.array_equal(again, keys)
    assert keys.shape == (200, 36)
    assert all(len(array) == 200 for array in helper.values())


@every
def test_what_is_disclosed_is_true_of_the_whole_witness(levels: int, made: Assisted) -> None:
    a, _ = devices(made, 1.0, levels=levels)
    keys, helper = made.generate(a, rng=np.random.default_rng(1))
    linear = made.linear(helper)
    words = block_words(witness_bits(a.symbols, made.labels), linear.positions)
    assert np.array_equal(gf2.product(words, linear.parity.T), linear.syndrome)
    secret = gf2.product(words, linear.secret_map.T) ^ linear.secret_offset
    assert np.array_equal(made.finish(secret.reshape(200, -1), helper), keys)


@every
def test_assistance_makes_more_attempts_agree(levels: int, made: Assisted) -> None:
    rho = 0.97 if levels == 4 else 0.9
    a, b = devices(made, rho, levels=levels)
    keys, helper = made.generate(a, rng=np.random.default_rng(2))
    again, accepted = made.reproduce(b, helper)
    helped = (accepted & (again == keys).all(axis=1)).mean()
    plain = made.commitment
    keys, helper = plain.generate(a, rng=np.random.default_rng(2))
    again, accepted = plain.reproduce(b, helper)
    assert helped > (accepted & (again == keys).all(axis=1)).mean() + 0.2


def test_blocks_read_the_kept_features_only() -> None:
    made = MADE[1][1]
    a, _ = devices(made, 1.0, levels=4, attempts=20)
    _, helper = made.generate(a, rng=np.random.default_rng(3))
    positions = made.linear(helper).positions
    assert positions.shape == (20, 3, 23)
    assert helper["kept"].shape == (20, 33)
    assert (np.diff(helper["kept"].astype(int), axis=1) > 0).all()
    for row, kept in zip(positions, helper["kept"], strict=True):
        assert np.array_equal(np.unique(row[row >= 0] // 2), kept)
        assert (row[:, 22] == -1).all()


def test_harness_ranks_keys_under_guard_bands_exactly() -> None:
    """An adversary who knows all kept symbols has the key; who knows only the others, nothing of it."""
    made = MADE[2][1]
    a, _ = devices(made, 1.0, levels=2, attempts=6)
    _, helper = made.generate(a, rng=np.random.default_rng(4))
    linear = made.linear(helper)
    kept = np.zeros(a.symbols.shape, bool)
    np.put_along_axis(kept, helper["kept"].astype(int), True, axis=1)
    for knows, expected in ((kept, 1.0), (~kept, 2.0**36)):
        sure = np.where(np.arange(2) == a.symbols[..., None], np.log(0.999), np.log(0.001))
        belief = np.where(knows[..., None], sure, np.log(0.5))
        ranks = secret_ranks(belief, made.labels, linear, a.symbols)
        assert ranks.upto_high == pytest.approx(np.full(6, expected), rel=1e-9)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: Assisted(commitment=base(4), assistance=GuardBands(features=32, levels=4)),
            "at least 33, which are used, got 32",
        ),
        (lambda: CellPositions(levels=1), "2 to 256, got 1"),
        (lambda: CellPositions(levels=4, correlation=1.5), "above 0 and at most 1, got 1.5"),
        (lambda: GuardBands(features=0, levels=2), "1 to 65536, got 0"),
        (lambda: GuardBands(features=5, levels=300), "2 to 256, got 300"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(call, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        call()


@every
def test_a_witness_without_features_is_refused(levels: int, made: Assisted) -> None:
    a, _ = devices(made, 1.0, levels=levels)
    with pytest.raises(ValueError, match="must come with its features"):
        made.generate(replace(a, features=None), rng=np.random.default_rng(0))


@every
def test_whoever_reads_with_help_leaves_the_own_witness_of_a_as_it_is(levels: int, made: Assisted) -> None:
    a, b = devices(made, 0.95, levels=levels)
    _, helper = made.generate(a, rng=np.random.default_rng(3))
    assert isinstance(made, Assisting)
    again, read = made.assisted(a, helper), made.assisted(b, helper)
    assert np.array_equal(again.symbols, a.symbols)
    assert read.features is not None
    assert read.features.shape[2] % levels == 0
    used = made.assistance.read(b, helper).symbols
    if isinstance(made.assistance, CellPositions):
        assert np.array_equal(read.symbols, used)
    # rows are read one by one
    part = {name: array[5:9] for name, array in helper.items()}
    few = made.assisted(
        Witness(
            symbols=b.symbols[5:9],
            alphabet=levels,
            acquired=b.acquired[5:9],
            features=None if b.features is None else b.features[5:9],
        ),
        part,
    )
    assert few.features is not None
    assert np.array_equal(few.features, read.features[5:9])
