"""The vault behind a quantiser of feature sets."""

from __future__ import annotations

import numpy as np
import pytest

from harness.contracts import Array, Witness
from schemes.extraction import Hkdf
from schemes.vault import PolynomialVault
from schemes.vault_commitment import VaultCommitment

VAULT = PolynomialVault(secret_symbols=4, points=80, universe=300, m=12)
MADE = VaultCommitment(vault=VAULT, extraction=Hkdf(), key_bits=32, size=25)


def witness(bits: Array) -> Witness:
    return Witness(symbols=bits, alphabet=2, acquired=np.ones(len(bits), bool))


def sets(rng: np.random.Generator, attempts: int, size: int) -> Array:
    return (rng.random((attempts, 300)).argsort(axis=1).argsort(axis=1) < size).astype(np.uint8)


def test_similar_sets_agree_and_strangers_do_not() -> None:
    rng = np.random.default_rng(1)
    a = sets(rng, 60, 20)
    b = a.copy()
    b[:, :150] = np.where(rng.random((60, 150)) < 0.03, 1 - b[:, :150], b[:, :150])
    keys, helper = MADE.generate(witness(a), rng=rng)
    again, accepted = MADE.reproduce(witness(b), helper)
    assert accepted.mean() > 0.9
    assert np.array_equal(again[accepted], keys[accepted])
    again, accepted = MADE.reproduce(witness(sets(rng, 60, 20)), helper)
    assert not accepted.any()
    assert not again.any()
    assert (MADE.symbols, MADE.secret_bits) == (300, 48)


def test_rows_of_b_are_independent() -> None:
    rng = np.random.default_rng(2)
    a = sets(rng, 9, 20)
    keys, helper = MADE.generate(witness(a), rng=rng)
    a[4] = 0
    _, accepted = MADE.reproduce(witness(a), helper)
    assert accepted.tolist() == [True] * 4 + [False] + [True] * 4
    part = {name: array[6:8] for name, array in helper.items()}
    assert np.array_equal(MADE.reproduce(witness(a[6:8]), part)[0], keys[6:8])


def test_too_few_features_abort_and_too_many_are_cut_alike() -> None:
    rng = np.random.default_rng(3)
    a = np.stack([*sets(rng, 1, 4), *sets(rng, 1, 5), *sets(rng, 1, 60), np.zeros(300, np.uint8)])
    _, helper = MADE.generate(witness(a), rng=rng)
    assert helper["aborted"].tolist() == [True, False, False, True]
    assert helper["vault"].shape == (4, 80, 2)
    assert MADE.reproduce(witness(a), helper)[1].tolist() == [False, True, True, False]


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"key_bits": 49}, "1 to 48, which is the secret, got 49"),
        ({"size": 4}, "from 5 to 80, got 4"),
        ({"size": 81}, "got 81"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(change: dict[str, int], text: str) -> None:
    with pytest.raises(ValueError, match=text):
        VaultCommitment(**{"vault": VAULT, "extraction": Hkdf(), "key_bits": 32, "size": 25, **change})
