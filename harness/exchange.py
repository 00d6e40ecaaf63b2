"""A and B run the scheme honestly, one sitting at a time.

A, B and whoever attacks get separate copies of the scheme, so that nothing remembered in
`generate` helps in `reproduce`.
"""

from __future__ import annotations

import copy
import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import cloudpickle
import numpy as np

from harness import validate
from harness.contracts import (
    ABORTED,
    DEVICE_A,
    DEVICE_B,
    Array,
    Capture,
    Helper,
    Witness,
    frozen,
)
from harness.errors import ContractError
from harness.streams import stream

__all__ = ["Honest", "call", "join", "run_block", "seconds_of", "sent", "signal_of", "strangers"]

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Honest:
    """Every attempt of a corpus under one scheme; axis 0 of all arrays is the attempt."""

    sitting: Array  # (attempts,) int: index into corpus.sittings()
    local: Array  # (attempts,) int: attempt number inside the sitting
    subject: Array
    session: Array
    a: Witness
    b: Witness
    keys_a: Array  # (attempts, key_bits) uint8
    keys_b: Array
    accepted: Array  # (attempts,) bool
    helper: Helper
    seconds: Array  # (attempts,) until both devices have their witness
    attacked: Array | None = None  # (attempts,) bool: whose keys count; None: all
    teaching: Array | None = None  # (attempts,) bool: what adversaries may learn from; None: all

    @property
    def attempts(self) -> int:
        return len(self.subject)

    @property
    def established(self) -> Array:
        """(attempts,) A holds a key: acquired, and not given up."""
        aborted = self.helper.get(ABORTED)
        return self.a.acquired if aborted is None else np.asarray(self.a.acquired & ~aborted)

    @property
    def victims(self) -> Array:
        """(attempts,) established, and attacked."""
        return self.established if self.attacked is None else np.asarray(self.established & self.attacked)

    @property
    def teachers(self) -> Array:
        """(attempts,) what adversaries may learn from other people."""
        return np.ones(self.attempts, bool) if self.teaching is None else self.teaching

    def part(self, rows: Array) -> Honest:
        """Some attempts, as if there were no others."""
        arrays = ("sitting", "local", "subject", "session", "keys_a", "keys_b", "accepted", "seconds")
        return Honest(
            **{n: frozen(getattr(self, n)[rows]) for n in arrays},
            a=take(self.a, rows),
            b=take(self.b, rows),
            helper={k: frozen(v[rows]) for k, v in self.helper.items()},
        )

    @property
    def agreed(self) -> Array:
        """(attempts,) both hold the same key, B having accepted it."""
        equal = np.asarray((self.keys_a == self.keys_b).all(axis=1))
        return np.asarray(self.established & self.b.acquired & self.accepted & equal)


def call(plugin: str, member: str, function: Callable[..., T], *args: Any, **options: Any) -> T:
    """Call a plug-in; whatever it raises becomes a ContractError that says where."""
    try:
        return function(*args, **options)
    except ContractError:
        raise
    except (Exception, SystemExit) as error:  # a stranger's code may raise anything: it fails its own cells
        raise ContractError(
            plugin, member, "a method that returns", f"{type(error).__name__}: {error}"
        ) from error


def sent(plugin: str, value: Any) -> bytes:
    """`value` as another process gets it, plug-ins by value."""
    try:
        return bytes(cloudpickle.dumps(value))
    except Exception as error:  # a stranger's parts may raise anything
        raise _not_copied(plugin, error) from error


def _copy(scheme: Any) -> Any:
    try:
        return copy.deepcopy(scheme)
    except Exception as error:  # a stranger's parts may raise anything
        raise _not_copied(scheme.name, error) from error


def _not_copied(plugin: str, error: Exception) -> ContractError:
    return ContractError(
        plugin, "__init__()", "free of parts that cannot be copied", f"{type(error).__name__}: {error}"
    )


def signal_of(scheme: Any, role: str) -> str:
    """The kind of capture that the scheme reads from a role; adversaries count as device A."""
    signal = scheme.signal
    if isinstance(signal, str):
        return signal
    return str(signal.get(role, signal.get(DEVICE_A, next(iter(signal.values())))))


def seconds_of(capture: Capture) -> Array:
    """(attempts,) time spent sensing."""
    if capture.seconds is not None:
        return capture.seconds
    first = capture.samples[:, 0]
    present = (~np.isnan(first)).sum(axis=1)
    if capture.rate_hz is None:  # an event series of intervals lasts as long as they add up to
        return np.asarray(np.nansum(first, axis=1))
    return np.asarray(present / capture.rate_hz)


def _sensed(scheme: Any, capture: Capture, acquired: Array) -> Array:
    """(attempts,) time until the witness is complete; the whole capture where none came of it."""
    whole = seconds_of(capture)
    stated = getattr(scheme, "sensing_seconds", None)
    if not callable(stated):
        return whole
    name, field = scheme.name, "sensing_seconds()"
    used = validate.seconds(name, field, call(name, field, stated, capture), len(whole))
    longest = float(np.max(np.where(acquired, used - whole, 0.0), initial=0.0))
    if longest > 1e-6:  # sums of intervals round
        raise ContractError(name, field, "no longer than the capture", f"{longest:.3g} s more")
    return np.where(acquired, np.minimum(used, whole), whole)


def run_block(
    scheme: Any,
    captures: Mapping[str, Capture],
    *,
    seed: int,
    sitting: int,
    subject: int,
    session: int,
) -> Honest:
    """Run the scheme on one sitting.

    Parameters
    ----------
    scheme : Scheme or Interactive
    captures : mapping
        `device-a` and `device-b`, row for row the same attempts.
    seed, sitting, subject, session : int
        Name the stream of A's coins; they are salted with A's capture, so that the seed
        alone does not give them, and leave out the scheme's name.

    Raises
    ------
    ContractError
        If the scheme broke its promise.
    """
    name, width = scheme.name, int(scheme.key_bits)
    device_a, device_b = _copy(scheme), _copy(scheme)
    attempts = captures[DEVICE_A].samples.shape[0]
    a, b = (
        validate.witness(name, call(name, "witness()", device.witness, captures[role]), attempts)
        for device, role in ((device_a, DEVICE_A), (device_b, DEVICE_B))
    )
    if (a.symbols.shape, a.alphabet) != (b.symbols.shape, b.alphabet):
        raise ContractError(
            name,
            "witness()",
            f"alike for both devices, {a.symbols.shape[1]} symbols of {a.alphabet}",
            f"{b.symbols.shape[1]} symbols of {b.alphabet}",
        )
    salt = hashlib.sha256(np.ascontiguousarray(captures[DEVICE_A].samples).tobytes()).digest()
    rng = stream(seed, "generate", subject, session, salt)
    if callable(getattr(scheme, "agree", None)):
        keys_a, keys_b, accepted, helper = parts(
            name, "agree()", call(name, "agree()", device_a.agree, a, b, rng=rng), 4
        )
        published = validate.helper_data(name, helper, attempts)
    else:
        keys_a, helper = parts(
            name, "generate()", call(name, "generate()", device_a.generate, a, rng=rng), 2
        )
        published = validate.helper_data(name, helper, attempts)
        keys_b, accepted = parts(
            name, "reproduce()", call(name, "reproduce()", device_b.reproduce, b, dict(published)), 2
        )
    return Honest(
        sitting=np.full(attempts, sitting),
        local=np.arange(attempts),
        subject=np.full(attempts, subject),
        session=np.full(attempts, session),
        a=a,
        b=b,
        keys_a=validate.key_bits(name, "keys of A", keys_a, attempts, width),
        keys_b=validate.key_bits(name, "keys of B", keys_b, attempts, width),
        accepted=validate.accepted_flags(name, accepted, attempts),
        helper=published,
        seconds=np.maximum(
            _sensed(device_a, captures[DEVICE_A], a.acquired),
            _sensed(device_b, captures[DEVICE_B], b.acquired),
        ),
    )


def parts(plugin: str, member: str, value: object, count: int) -> tuple[Any, ...]:
    if not isinstance(value, tuple) or len(value) != count:
        got = f"{len(value)} of them" if isinstance(value, tuple) else type(value).__name__
        raise ContractError(plugin, member, f"a tuple of {count}", got)
    return value


def join(name: str, blocks: Sequence[Honest]) -> Honest:
    """All sittings as one, after checking that the scheme kept one layout throughout."""
    first = blocks[0]
    for other in blocks[1:]:
        if (first.a.symbols.shape[1], first.a.alphabet) != (other.a.symbols.shape[1], other.a.alphabet):
            raise ContractError(
                name,
                "witness()",
                f"of {first.a.symbols.shape[1]} symbols whatever the capture",
                f"{other.a.symbols.shape[1]} symbols",
            )
        validate.same_helper_layout(name, first.helper, other.helper)
    arrays = ("sitting", "local", "subject", "session", "keys_a", "keys_b", "accepted", "seconds")
    return Honest(
        **{n: frozen(np.concatenate([getattr(b, n) for b in blocks])) for n in arrays},
        a=_join_witness([b.a for b in blocks]),
        b=_join_witness([b.b for b in blocks]),
        helper={k: frozen(np.concatenate([b.helper[k] for b in blocks])) for k in first.helper},
    )


def _join_witness(parts: Sequence[Witness]) -> Witness:
    features = [p.features for p in parts]
    joined = (
        None if any(f is None for f in features) else np.concatenate([f for f in features if f is not None])
    )
    return Witness(
        symbols=np.concatenate([p.symbols for p in parts]),
        alphabet=parts[0].alphabet,
        acquired=np.concatenate([p.acquired for p in parts]),
        features=joined,
    )


def take(witness: Witness, rows: Array) -> Witness:
    """Some rows of a witness."""
    return Witness(
        symbols=witness.symbols[rows],
        alphabet=witness.alphabet,
        acquired=witness.acquired[rows],
        features=None if witness.features is None else witness.features[rows],
    )


def strangers(scheme: Any, honest: Honest, *, seed: int) -> tuple[Array, Array]:
    """Another person's body on A's helper data: does B end with A's key?

    Returns
    -------
    hit : (attempts,) bool
        Accepted and equal; False where A holds no key.
    other : (attempts,) int
        The stranger's pseudonym.

    Raises
    ------
    ValueError
        If there is only one subject.
    """
    rows = other_rows(honest.subject, seed=seed)
    name, width = scheme.name, int(scheme.key_bits)
    b, own = take(honest.b, rows), copy.deepcopy(scheme)
    keys_a: Any = honest.keys_a
    aborted = None  # of the runs with strangers; the owner's own are no longer established
    if callable(getattr(scheme, "agree", None)):  # its messages depend on B, so it runs again
        rng = stream(seed, "strangers", "agree")
        keys_a, keys, accepted, helper = parts(
            name, "agree()", call(name, "agree()", own.agree, honest.a, b, rng=rng), 4
        )
        aborted = validate.helper_data(name, helper, honest.attempts).get(ABORTED)
    else:
        answer = call(name, "reproduce()", own.reproduce, b, dict(honest.helper))
        keys, accepted = parts(name, "reproduce()", answer, 2)
    keys_a = validate.key_bits(name, "keys of A", keys_a, honest.attempts, width)
    keys = validate.key_bits(name, "keys of B", keys, honest.attempts, width)
    accepted = validate.accepted_flags(name, accepted, honest.attempts)
    equal = (keys == keys_a).all(axis=1)
    hit = honest.established & b.acquired & accepted & equal
    return hit if aborted is None else hit & ~aborted, honest.subject[rows]


def other_rows(subject: Array, *, seed: int) -> Array:
    """For each attempt an attempt of another subject, by a named stream, (attempts,)."""
    people = np.unique(subject)
    if len(people) < 2:
        raise ValueError("strangers need at least two subjects, got one")
    rng = stream(seed, "strangers")
    # a cyclic shift of shuffled people: everyone is somebody's stranger, nobody their own
    shuffled = rng.permutation(people)
    partner = dict(zip(shuffled.tolist(), np.roll(shuffled, 1).tolist(), strict=True))
    rows = np.empty(len(subject), np.intp)
    for person in people.tolist():
        own = np.flatnonzero(subject == person)
        theirs = np.flatnonzero(subject == partner[person])
        rows[own] = theirs[np.arange(len(own)) % len(theirs)]
    return rows
