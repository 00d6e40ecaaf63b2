"""Decoding speed as ratios against what a user would pick instead, in one run.

Both sides run in one thread and are timed by processor time: on a busy machine the threads of
the alternative wait for each other, which would flatter us. The measured ratios are printed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import galois
import numba
import numpy as np
import pytest
from scipy.signal import sosfiltfilt
from threadpoolctl import threadpool_limits

from harness.contracts import Array
from schemes.codes import bch, code, reed_solomon
from schemes.codes.reed_solomon import to_bits, to_symbols
from schemes.conditioning import _sections, condition


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    with threadpool_limits(1):
        yield
    numba.set_num_threads(before)


def seconds(run: Callable[[], object], *, repeats: int) -> float:
    """Best processor time of several runs, after one that warms the tables up."""
    run()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times)


def noisy_words(name: str, count: int, p: float) -> tuple[Array, Array]:
    made = code(name)
    rng = np.random.default_rng(0)
    messages = rng.integers(0, 2, (count, made.k), dtype=np.uint8)
    words = made.encode(messages)
    return messages, words ^ (rng.random(words.shape) < p)


def report(what: str, ours: float, theirs: float) -> float:
    print(f"\n{what}: {ours * 1e3:.2f} ms against {theirs * 1e3:.1f} ms, {theirs / ours:.1f} times")
    return theirs / ours


@pytest.mark.parametrize("name", ["golay-23-12", "golay-24-12"])
def test_golay_against_a_syndrome_table_by_galois(name: str) -> None:
    """10^6 words; the alternative multiplies by the parity matrix and looks the error up."""
    made = code(name)
    _, words = noisy_words(name, 1_000_000, 0.02)
    checks = made.n - made.k
    place = 1 << np.arange(checks)
    # the message part of every error of weight at most t, by syndrome
    table = np.zeros((1 << checks, made.k), np.uint8)
    unit = np.eye(made.n, dtype=np.uint8)
    patterns = [unit, unit[:, None] ^ unit, unit[:, None, None] ^ unit[:, None] ^ unit]
    for pattern in reversed(patterns):
        error = pattern.reshape(-1, made.n)
        table[(error @ made.parity.T % 2) @ place] = error[:, : made.k]
    table[0] = 0
    field_words, parity = galois.GF2(words), galois.GF2(made.parity.T.copy())

    def alternative() -> Array:
        syndrome = np.asarray(field_words @ parity) @ place
        return words[:, : made.k] ^ table[syndrome]

    decoded, corrected = made.decode(words)
    assert np.array_equal(decoded[corrected], alternative()[corrected])
    ratio = report(name, seconds(lambda: made.decode(words), repeats=5), seconds(alternative, repeats=2))
    assert ratio >= 6


def test_bch_against_galois() -> None:
    """10^5 words of BCH (127, 64, 10); the alternative by its cost per word without the fixed part."""
    made = bch(127, 64)
    field = galois.GF(2**7, irreducible_poly=galois.Poly.Int(0o211))
    theirs = galois.BCH(127, 64, extension_field=field)
    _, words = noisy_words(made.name, 100_000, 0.04)
    few, more = words[:1000], words[:5000]
    decoded, corrected = made.decode(words)
    expected, found = theirs.decode(few, errors=True)
    assert np.array_equal(corrected[:1000], np.asarray(found) >= 0)
    assert np.array_equal(decoded[:1000][corrected[:1000]], np.asarray(expected)[corrected[:1000]])
    ours_s = seconds(lambda: made.decode(words), repeats=3)
    short, long = (
        seconds(lambda part=part: theirs.decode(part, errors=True), repeats=2) for part in (few, more)
    )
    theirs_s = (long - short) * len(words) / (len(more) - len(few))
    assert report(made.name, ours_s, theirs_s) >= 150


def test_reed_solomon_against_galois() -> None:
    """10^4 words of (255, 223), 16 wrong symbols each; the alternative by its cost per word."""
    made = reed_solomon(255, 223)
    theirs = galois.ReedSolomon(255, 223, field=galois.GF(2**8, irreducible_poly=galois.Poly.Int(0o435)))
    rng = np.random.default_rng(0)
    messages = rng.integers(0, 2, (10_000, made.k), dtype=np.uint8)
    symbols = to_symbols(made.encode(messages), 8)
    wrong = rng.random(symbols.shape).argsort(axis=1).argsort(axis=1) < made.t
    symbols ^= np.where(wrong, rng.integers(1, 256, symbols.shape), 0).astype(np.uint8)
    words, few, more = to_bits(symbols, 8), symbols[:500], symbols[:2500]
    decoded, corrected = made.decode(words)
    assert corrected.all()
    assert np.array_equal(decoded, messages)
    assert np.array_equal(to_symbols(decoded, 8)[:500], np.asarray(theirs.decode(few)))
    ours_s = seconds(lambda: made.decode(words), repeats=3)
    short, long = (seconds(lambda part=part: theirs.decode(part), repeats=2) for part in (few, more))
    theirs_s = (long - short) * len(words) / (len(more) - len(few))
    assert report(made.name, ours_s, theirs_s) >= 20


def test_filtering_a_batch_against_a_loop_over_attempts() -> None:
    samples = np.random.default_rng(0).standard_normal((1000, 3000))
    sections = _sections(1000.0, 20.0, 50.0, 1)

    def loop() -> list[Array]:
        return [sosfiltfilt(sections.copy(), row) for row in samples]

    def batch() -> Array:
        return condition(samples, 1000.0, high_pass_hz=20.0, mains_hz=50.0, mains_harmonics=1)

    assert np.allclose(batch(), np.array(loop()))
    assert report("filtering", seconds(batch, repeats=3), seconds(loop, repeats=2)) >= 3
