"""Checks before and after every plug-in call: shape, dtype, range, finiteness.

Each function returns its argument, cleaned of harmless differences (another integer
dtype), or raises a `ContractError` that names plug-in, field, what was expected and what came.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from harness.contracts import (
    ABORTED,
    DEVICE_A,
    DEVICE_B,
    Array,
    Attack,
    Belief,
    Capture,
    Corpus,
    Guesses,
    Helper,
    Linear,
    Scheme,
    Witness,
    frozen,
)
from harness.errors import ContractError

__all__ = [
    "MAX_GUESSES",
    "accepted_flags",
    "attack_members",
    "belief",
    "bits",
    "capture",
    "channels",
    "corpus_members",
    "guesses",
    "helper_data",
    "key_bits",
    "linear",
    "scheme_members",
    "witness",
]

MAX_GUESSES = 4096


def _kind(value: object) -> str:
    if isinstance(value, np.ndarray):
        return f"{value.dtype} array of shape {value.shape}"
    return f"{type(value).__name__} {value!r}"[:120]


def _array(plugin: str, field: str, value: object, shape: Sequence[int | None]) -> Array:
    """`value` as an array of `shape` (None: any length), else a ContractError."""
    wanted = "an array of shape (" + ", ".join("any" if n is None else str(n) for n in shape) + ")"
    if not isinstance(value, np.ndarray):
        raise ContractError(plugin, field, wanted, _kind(value))
    fits = len(shape) == value.ndim and all(
        want is None or want == have for want, have in zip(shape, value.shape, strict=True)
    )
    if not fits:
        raise ContractError(plugin, field, wanted, _kind(value))
    return value


def _small_integers(plugin: str, field: str, value: Array, below: int) -> Array:
    if value.dtype == bool:
        value = value.astype(np.uint8)
    if not np.issubdtype(value.dtype, np.integer):
        raise ContractError(plugin, field, f"integers in 0..{below - 1}", _kind(value))
    if value.size and (value.min() < 0 or value.max() >= below):
        worst = value.max() if value.max() >= below else value.min()
        raise ContractError(plugin, field, f"integers in 0..{below - 1}", f"the value {worst}")
    return frozen(value.astype(np.uint8, copy=False))


def bits(plugin: str, field: str, value: object, shape: Sequence[int | None]) -> Array:
    """0/1 values of the given shape, as read-only uint8."""
    return _small_integers(plugin, field, _array(plugin, field, value, shape), 2)


def _flags(plugin: str, field: str, value: object, attempts: int) -> Array:
    array = _array(plugin, field, value, (attempts,))
    if array.dtype != bool:
        raise ContractError(plugin, field, "an array of bool", _kind(array))
    return frozen(array)


def accepted_flags(plugin: str, value: object, attempts: int) -> Array:
    """(attempts,) bool."""
    return _flags(plugin, "accepted", value, attempts)


def key_bits(plugin: str, field: str, value: object, attempts: int, width: int) -> Array:
    """(attempts, key_bits) uint8 of 0 and 1."""
    return bits(plugin, field, value, (attempts, width))


def capture(source: str, value: Capture) -> Capture:
    """A batch as a corpus may hand it out: three axes, float64, no infinity, a positive rate."""
    samples = _array(source, "samples", value.samples, (None, None, None))
    if samples.dtype != np.float64:
        raise ContractError(source, "samples", "float64", _kind(samples))
    if samples.shape[2] == 0 or samples.shape[1] == 0:
        raise ContractError(source, "samples", "at least one channel and one sample", _kind(samples))
    if np.isinf(samples).any():
        raise ContractError(source, "samples", "free of infinite values", "an infinite value")
    rate = value.rate_hz
    if rate is not None and not (np.isfinite(rate) and rate > 0):
        raise ContractError(source, "rate_hz", "positive, or None for an event series", repr(rate))
    if value.seconds is not None:
        seconds = _array(source, "seconds", value.seconds, (samples.shape[0],))
        if not (np.isfinite(seconds).all() and (seconds >= 0).all()):
            raise ContractError(source, "seconds", "finite and at least 0", _kind(seconds))
    return value


def witness(plugin: str, value: object, attempts: int) -> Witness:
    """A Witness for `attempts` attempts."""
    if not isinstance(value, Witness):
        raise ContractError(plugin, "witness()", "a Witness", _kind(value))
    alphabet = value.alphabet
    if not isinstance(alphabet, int | np.integer) or not 2 <= alphabet <= 256:
        raise ContractError(plugin, "alphabet", "an integer in 2..256", _kind(alphabet))
    symbols = _array(plugin, "symbols", value.symbols, (attempts, None))
    if symbols.shape[1] == 0:
        raise ContractError(plugin, "symbols", "at least one symbol per attempt", _kind(symbols))
    symbols = _small_integers(plugin, "symbols", symbols, int(alphabet))
    acquired = _flags(plugin, "acquired", value.acquired, attempts)
    features = value.features
    if features is not None:
        features = _array(plugin, "features", features, (attempts, symbols.shape[1], None))
        if not np.issubdtype(features.dtype, np.floating):
            raise ContractError(plugin, "features", "real numbers", _kind(features))
        if not np.isfinite(features[acquired]).all():
            raise ContractError(plugin, "features", "finite where acquired", "a NaN or infinite value")
    return Witness(symbols=symbols, alphabet=int(alphabet), acquired=acquired, features=features)


def helper_data(plugin: str, value: object, attempts: int) -> dict[str, Array]:
    """Named numeric arrays with the attempt as axis 0."""
    if not isinstance(value, Mapping):
        raise ContractError(plugin, "helper", "a mapping of names to arrays", _kind(value))
    clean: dict[str, Array] = {}
    for name, array in value.items():
        if not isinstance(name, str) or not name.isprintable():
            raise ContractError(plugin, "helper", "named by printable strings", _kind(name))
        field = f"helper[{name!r}]"
        if not isinstance(array, np.ndarray) or array.ndim == 0 or array.shape[0] != attempts:
            raise ContractError(plugin, field, f"an array of {attempts} rows", _kind(array))
        if name == ABORTED:
            clean[name] = _flags(plugin, field, array, attempts)
            continue
        if not (np.issubdtype(array.dtype, np.number) or array.dtype == bool):
            raise ContractError(plugin, field, "numeric", _kind(array))
        clean[name] = frozen(array)
    return clean


def same_helper_layout(plugin: str, first: Helper, other: Helper) -> None:
    """Every batch of one scheme instance publishes arrays of the same names and shapes."""
    layouts = [{k: (v.shape[1:], v.dtype.kind) for k, v in h.items()} for h in (first, other)]
    if layouts[0] != layouts[1]:
        raise ContractError(
            plugin, "helper", f"of one layout in every batch, {layouts[0]}", str(layouts[1])
        )


def linear(plugin: str, value: object, attempts: int, witness_bits: int) -> Linear:
    """A Linear disclosure for `attempts` attempts whose witness has `witness_bits` bits."""
    if not isinstance(value, Linear):
        raise ContractError(plugin, "linear()", "a Linear", _kind(value))
    parity = _array(plugin, "parity", value.parity, (None, None))
    r, n = parity.shape
    positions = _array(plugin, "positions", value.positions, (None, None, n))
    if positions.shape[0] not in (1, attempts):
        raise ContractError(plugin, "positions", f"1 or {attempts} rows", _kind(positions))
    if not np.issubdtype(positions.dtype, np.integer):
        raise ContractError(plugin, "positions", "integers", _kind(positions))
    if positions.size and (positions.min() < -1 or positions.max() >= witness_bits):
        raise ContractError(
            plugin,
            "positions",
            f"-1 or a witness bit below {witness_bits}",
            f"{positions.min()}..{positions.max()}",
        )
    blocks = positions.shape[1]
    k = _array(plugin, "secret_map", value.secret_map, (None, n)).shape[0]
    return Linear(
        positions=positions,
        parity=bits(plugin, "parity", parity, (r, n)),
        syndrome=bits(plugin, "syndrome", value.syndrome, (attempts, blocks, r)),
        secret_map=bits(plugin, "secret_map", value.secret_map, (k, n)),
        secret_offset=bits(plugin, "secret_offset", value.secret_offset, (attempts, blocks, k)),
    )


def channels(plugin: str, value: object, symbols: int) -> Array:
    """The channel of every symbol."""
    array = _array(plugin, "channels", value, (symbols,))
    if not np.issubdtype(array.dtype, np.integer) or (array.size and array.min() < 0):
        raise ContractError(plugin, "channels", "numbers of channels from 0", _kind(array))
    return array


def belief(plugin: str, value: Belief, attempts: int, symbols: int, alphabet: int) -> Belief:
    """Normalised log-probabilities for every symbol (or key bit) of every attempt."""
    if not isinstance(value.about, str) or value.about not in ("witness", "key"):
        raise ContractError(plugin, "about", '"witness" or "key"', _kind(value.about))
    log_prob = _array(plugin, "log_prob", value.log_prob, (attempts, symbols, alphabet))
    if not np.issubdtype(log_prob.dtype, np.floating):
        raise ContractError(plugin, "log_prob", "real numbers", _kind(log_prob))
    if np.isnan(log_prob).any() or (log_prob > 1e-6).any():
        raise ContractError(plugin, "log_prob", "natural logs of probabilities", "a NaN or a value > 0")
    total = np.logaddexp.reduce(log_prob.astype(np.float64), axis=2)
    if total.size and not np.abs(total).max() < 1e-6:
        worst = float(total.flat[int(np.abs(total).argmax())])
        raise ContractError(
            plugin, "log_prob", "normalised over the alphabet", f"a total probability e^{worst:.3g}"
        )
    return Belief(
        log_prob=log_prob.astype(np.float64, copy=False),
        about=value.about,
        work=_work(plugin, value.work),
    )


def guesses(plugin: str, value: Guesses, attempts: int, width: int) -> Guesses:
    """At most `MAX_GUESSES` keys per attempt."""
    keys = bits(plugin, "keys", value.keys, (attempts, None, width))
    if not 1 <= keys.shape[1] <= MAX_GUESSES:
        raise ContractError(plugin, "keys", f"1 to at most {MAX_GUESSES} guesses", str(keys.shape[1]))
    return Guesses(keys=keys, work=_work(plugin, value.work))


def seconds(plugin: str, field: str, value: object, attempts: int) -> Array:
    """Finite times of at least 0, one for each attempt."""
    times = _array(plugin, field, value, (attempts,))
    if times.dtype.kind not in "fiu" or not np.isfinite(times).all() or (times < 0).any():
        raise ContractError(plugin, field, "finite seconds of at least 0", _kind(times))
    return times.astype(np.float64)


def _work(plugin: str, value: float) -> float:
    if not (isinstance(value, int | float | np.floating) and 0 <= value <= 512):
        raise ContractError(plugin, "work", "a log2 of trials in 0..512", repr(value))
    return float(value)


def _name(kind: str, value: object) -> str:
    name = getattr(value, "name", None)
    if not isinstance(name, str) or not name or name != name.strip() or not name.isprintable():
        raise ContractError(f"{kind} {type(value).__name__}", "name", "a short string", _kind(name))
    return name


def _callable_members(plugin: str, value: object, names: Sequence[str]) -> None:
    missing = [n for n in names if not callable(getattr(value, n, None))]
    if missing:
        raise ContractError(plugin, missing[0], "a method", _kind(getattr(value, missing[0], None)))


def scheme_members(value: Any) -> Scheme:
    """The members that every scheme has, well typed; raises ContractError before anything runs."""
    name = _name("scheme", value)
    width = getattr(value, "key_bits", None)
    if not isinstance(width, int | np.integer) or isinstance(width, bool) or width < 1:
        raise ContractError(name, "key_bits", "a positive integer", _kind(width))
    signal = getattr(value, "signal", None)
    good = isinstance(signal, str) or (
        isinstance(signal, Mapping)
        and bool(signal)
        and all(isinstance(x, str) for x in [*signal.keys(), *signal.values()])
    )
    if not good or not signal:
        raise ContractError(name, "signal", "a kind of capture, or role -> kind", _kind(signal))
    interactive = callable(getattr(value, "agree", None))
    _callable_members(name, value, ["witness"] if interactive else ["witness", "generate", "reproduce"])
    return value  # type: ignore[no-any-return]


def attack_members(value: Any) -> Attack:
    """The members that every attack has, well typed; raises ContractError before anything runs."""
    name = _name("attack", value)
    for field in ("sees", "likes"):
        words: object = getattr(value, field, frozenset() if field == "likes" else None)
        if not isinstance(words, frozenset | set) or not all(isinstance(w, str) for w in words):
            raise ContractError(name, field, "a frozenset of strings", _kind(words))
        owned = sorted(w for w in words if w.partition(":")[0] in (DEVICE_A, DEVICE_B))
        if owned:  # whoever reads the owner's own sensor needs no attack
            raise ContractError(name, field, "of adversaries' roles and words", f"the owner's {owned[0]!r}")
    _callable_members(name, value, ["believe"])
    return value  # type: ignore[no-any-return]


def corpus_members(value: Any) -> Corpus:
    """The members that every corpus has; raises ContractError before anything runs."""
    name = _name("corpus", value)
    data = getattr(value, "data", None)
    if data not in ("recorded", "simulated"):
        raise ContractError(name, "data", '"recorded" or "simulated"', _kind(data))
    _callable_members(name, value, ["sittings", "block", "describe", "digest"])
    return value  # type: ignore[no-any-return]
