"""Key extraction: published vectors, and what a 2-universal hash promises."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import toeplitz

from harness.estimators.extraction_length import extractable_bits
from schemes.extraction import EXTRACTIONS, Hkdf, Identity, Toeplitz, extraction_named, hkdf_sha256


# RFC 5869, appendix A.1 to A.3.
@pytest.mark.parametrize(
    ("secret", "salt", "info", "expected"),
    [
        (
            b"\x0b" * 22,
            bytes(range(13)),
            bytes(range(0xF0, 0xFA)),
            "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865",
        ),
        (
            bytes(range(0x50)),
            bytes(range(0x60, 0xB0)),
            bytes(range(0xB0, 0x100)),
            "b11e398dc80327a1c8e7f78c596a49344f012eda2d4efad8a050cc4c19afa97c59045a99cac7827271cb41c65e590e09"
            "da3275600c2f09b8367793a9aca3db71cc30c58179ec3e87c14c01d5c1f3434f1d87",
        ),
        (
            b"\x0b" * 22,
            b"",
            b"",
            "8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d9d201395faa4b61a96c8",
        ),
    ],
)
def test_hkdf_published_vectors(secret: bytes, salt: bytes, info: bytes, expected: str) -> None:
    output = hkdf_sha256(secret, salt=salt, info=info, length=len(expected) // 2)
    assert output.hex() == expected


def test_hkdf_key_is_the_vector_in_bits() -> None:
    secret = np.unpackbits(np.frombuffer(b"\x0b" * 22, np.uint8))[None]
    extraction = Hkdf(info=bytes(range(0xF0, 0xFA)))
    key = extraction.key(secret, {"salt": np.arange(13, dtype=np.uint8)[None]}, key_bits=20)
    assert "".join(map(str, key[0])) == f"{0x3CB25:020b}"


@pytest.mark.parametrize("length", [0, 8161])
def test_hkdf_refuses_a_length_that_it_cannot_give(length: int) -> None:
    with pytest.raises(ValueError, match="1 to 8160"):
        hkdf_sha256(b"x", salt=b"", info=b"", length=length)


@pytest.mark.parametrize("name", EXTRACTIONS)
def test_keys_depend_on_their_row_alone(name: str) -> None:
    extraction = extraction_named(name)
    rng = np.random.default_rng(6)
    secret = rng.integers(0, 2, (300, 30), dtype=np.uint8)
    helper = extraction.public(300, secret_bits=30, key_bits=21, rng=rng)
    keys = extraction.key(secret, helper, key_bits=21)
    assert keys.shape == (300, 21)
    assert keys.dtype == np.uint8
    for rows in (slice(0, 1), slice(250, 263)):
        part = {key: value[rows] for key, value in helper.items()}
        assert np.array_equal(extraction.key(secret[rows], part, key_bits=21), keys[rows])


@pytest.mark.parametrize("name", ["hkdf", "toeplitz"])
def test_a_fresh_draw_gives_another_key(name: str) -> None:
    extraction = extraction_named(name)
    secret = np.ones((2, 128), np.uint8)
    helper = extraction.public(2, secret_bits=128, key_bits=128, rng=np.random.default_rng(0))
    first, second = extraction.key(secret, helper, key_bits=128)
    assert 30 < (first ^ second).sum() < 98  # Bin(128, 1/2) within 6 sigma


def test_identity_is_the_beginning_of_the_secret() -> None:
    secret = np.array([[1, 0, 1, 1]], np.uint8)
    assert Identity().key(secret, {}, key_bits=3).tolist() == [[1, 0, 1]]


def test_toeplitz_matrix_as_written_out() -> None:
    seed = np.array([[1, 0, 0, 1, 1]], np.uint8)  # diagonals from the upper right to the lower left
    columns = [
        Toeplitz().key(unit[None], {"toeplitz-seed": seed}, key_bits=3)[0]
        for unit in np.eye(3, dtype=np.uint8)
    ]
    assert np.array(columns).T.tolist() == [[0, 0, 1], [1, 0, 0], [1, 1, 0]]


@given(seed=st.integers(0, 2**32))
def test_toeplitz_is_linear_in_the_secret(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a, b = rng.integers(0, 2, (2, 3, 40), dtype=np.uint8)
    helper = Toeplitz().public(3, secret_bits=40, key_bits=17, rng=rng)
    key = [Toeplitz().key(x, helper, key_bits=17) for x in (a, b, a ^ b)]
    assert np.array_equal(key[0] ^ key[1], key[2])


def test_toeplitz_is_two_universal() -> None:
    """Over all seeds, any two different secrets collide in exactly the share 2^-key_bits."""
    seeds = (np.arange(2**6)[:, None] >> np.arange(6) & 1).astype(
        np.uint8
    )  # 3 key bits + 4 secret bits - 1
    for difference in range(1, 16):
        secret = np.tile((difference >> np.arange(4) & 1).astype(np.uint8), (len(seeds), 1))
        keys = Toeplitz().key(secret, {"toeplitz-seed": seeds}, key_bits=3)
        assert (~keys.any(axis=1)).sum() == len(seeds) // 8


def test_toeplitz_key_is_the_product_with_the_matrix_that_scipy_builds() -> None:
    rng = np.random.default_rng(9)
    secret = rng.integers(0, 2, (20, 50), dtype=np.uint8)
    helper = Toeplitz().public(20, secret_bits=50, key_bits=13, rng=rng)
    keys = Toeplitz().key(secret, helper, key_bits=13)
    for bits, seed, key in zip(secret, helper["toeplitz-seed"].astype(int), keys, strict=True):
        matrix = toeplitz(seed[49:], seed[49::-1])  # first column, first row
        assert matrix.shape == (13, 50)
        assert np.array_equal(matrix @ bits % 2, key)


@pytest.mark.parametrize(("left", "key_bits"), [(4, 2), (4, 4), (6, 2), (6, 3)])
def test_toeplitz_keys_are_as_near_to_uniform_as_the_ledger_says(left: int, key_bits: int) -> None:
    """Over all seeds, from 2^left equally likely secrets of 7 bits; exact, no sampling.

    Leftover hash lemma (Dodis et al. 2008): ε is the smallest at which that length is allowed.
    """
    epsilon = 2.0 ** ((key_bits - left - 2) / 2)
    assert extractable_bits(left, epsilon=epsilon, form="leftover-hash-dodis-2008") == key_bits
    assert extractable_bits(left, epsilon=epsilon / 1.01, form="leftover-hash-dodis-2008") < key_bits
    width = key_bits + 7 - 1
    seeds = (np.arange(2**width)[:, None] >> np.arange(width) & 1).astype(np.uint8)
    values = np.random.default_rng(left).choice(2**7, 2**left, replace=False)
    counts = np.zeros((len(seeds), 2**key_bits))
    for value in values:
        secret = np.tile((value >> np.arange(7) & 1).astype(np.uint8), (len(seeds), 1))
        keys = Toeplitz().key(secret, {"toeplitz-seed": seeds}, key_bits=key_bits)
        counts[np.arange(len(seeds)), keys @ (1 << np.arange(key_bits))] += 1
    distance = np.abs(counts / len(values) - 2.0**-key_bits).sum(axis=1).mean() / 2
    assert 0 < distance <= epsilon
    # and one seed may be bad altogether: the promise is one of the average
    assert (counts == len(values)).any()


def test_unknown_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(ValueError, match="nearest is 'toeplitz'"):
        extraction_named("toplitz")
