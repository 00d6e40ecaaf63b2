"""Every type that crosses a boundary of keyassay. Start reading here.

A *scheme* turns captures into keys, an *attack* turns a `View` into a `Belief` or into
`Guesses`, a *corpus* hands out captures. The harness joins them; none of them sees more
than the types below carry. Plug-ins inherit from nothing: they are anything that has the
members of the Protocols. What a few schemes and corpora may say besides is in `harness.optional_parts`.

Throughout, axis 0 of every array is the attempt, and every array handed to a plug-in is
read-only (`frozen` does not freeze an array, so the constructors switch its write flag off).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any, Literal, Protocol, TypeAlias, runtime_checkable

import numpy as np

__all__ = [
    "ABORTED",
    "DEVICE_A",
    "DEVICE_B",
    "EVIDENCE",
    "SIDES",
    "Array",
    "Attack",
    "Belief",
    "Capture",
    "Confirmed",
    "Corpus",
    "Device",
    "Disclosed",
    "Estimate",
    "Exchange",
    "Guesses",
    "Helper",
    "Interactive",
    "Interferes",
    "Linear",
    "Scheme",
    "Sensed",
    "Sitting",
    "Timed",
    "View",
    "Witness",
    "frozen",
]

Array: TypeAlias = np.ndarray[Any, np.dtype[Any]]
Helper: TypeAlias = Mapping[str, Array]

DEVICE_A = "device-a"
DEVICE_B = "device-b"
ABORTED = "aborted"  # reserved helper name: (attempts,) bool, device A gave up

SIDES = (
    "estimate",
    "attacker-at-least",
    "attacker-at-most",
    "defender-at-least",
    "defender-at-most",
)
EVIDENCE: tuple[Literal["counted", "exact", "modelled", "assumed"], ...] = (
    "counted",
    "exact",
    "modelled",
    "assumed",
)


def frozen(array: Array) -> Array:
    """Return a read-only view of `array`; the caller's own array stays writeable."""
    view = np.asarray(array).view()
    view.flags.writeable = False
    return view


def _rebuild(kind: type[Any], values: dict[str, Any]) -> Any:
    return kind(**values)


def _by_fields(self: Any) -> tuple[Any, ...]:
    """Pickle by constructor: arrays arrive writeable, and only the constructor makes them read-only."""
    return _rebuild, (type(self), {f.name: getattr(self, f.name) for f in fields(self)})


def _freeze(instance: object, *names: str) -> None:
    for name in names:
        value = getattr(instance, name)
        if isinstance(value, np.ndarray):
            object.__setattr__(instance, name, frozen(value))
        elif isinstance(value, dict):  # other mappings are read-only of their own
            object.__setattr__(instance, name, _FrozenMapping(value))


class _FrozenMapping(Mapping[str, Any]):
    """A read-only, picklable copy of a mapping whose arrays are read-only."""

    __slots__ = ("_items",)

    def __init__(self, items: Mapping[str, Any]) -> None:
        self._items = MappingProxyType(
            {k: frozen(v) if isinstance(v, np.ndarray) else v for k, v in items.items()}
        )

    def __getitem__(self, key: str) -> Any:
        return self._items[key]

    def __iter__(self) -> Any:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __repr__(self) -> str:
        return repr(dict(self._items))

    def __reduce__(self) -> tuple[Any, ...]:
        return (_FrozenMapping, (dict(self._items),))


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """What one sensor recorded in a batch of attempts."""

    samples: Array  # (attempts, channels, samples) float64 in `unit`; a shorter row ends in NaN
    rate_hz: float | None  # None: an event series (intervals, times)
    signal: str  # "emg", "ecg", "ppg", "acceleration", "intervals", ...
    unit: str  # "uV", "mV", "g", "s", ...
    seconds: Array | None = None  # (attempts,) time spent sensing; None: samples / rate_hz

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "samples", "seconds")


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """The symbols that a device quantises from its capture, before reconciliation."""

    symbols: Array  # (attempts, m) uint8 < alphabet
    alphabet: int
    acquired: Array  # (attempts,) bool; False = failure to acquire
    features: Array | None = None  # (attempts, m, f) the reals behind the symbols

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "symbols", "acquired", "features")


@runtime_checkable
class Scheme(Protocol):
    """Two devices on one body derive the same key; A publishes helper data once."""

    @property
    def name(self) -> str: ...
    @property
    def key_bits(self) -> int: ...
    @property
    def signal(self) -> str | Mapping[str, str]:
        """Kind of capture it reads, or role -> kind where the devices differ."""
        ...

    def witness(self, capture: Capture) -> Witness: ...
    def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
        """Device A: keys (attempts, key_bits) uint8, and what it publishes."""
        ...

    def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
        """Device B: keys (attempts, key_bits) uint8, and accepted (attempts,) bool."""
        ...


@runtime_checkable
class Interactive(Protocol):
    """Instead of `generate` and `reproduce`: protocols of several rounds."""

    def agree(
        self, a: Witness, b: Witness, *, rng: np.random.Generator
    ) -> tuple[Array, Array, Array, Helper]:
        """Keys of A, keys of B, accepted, and every message that was sent."""
        ...


@runtime_checkable
class Timed(Protocol):
    """Optional: a scheme that needs only a part of each capture says how much."""

    def sensing_seconds(self, capture: Capture) -> Array:
        """(attempts,) seconds from the start of each capture until the witness is complete."""
        ...


@runtime_checkable
class Confirmed(Protocol):
    """Optional: a scheme that publishes check values of its key says what they check.

    Whoever can tell a right part from a wrong one guesses part by part.
    """

    @property
    def segments(self) -> Array:
        """(key_bits,) int: which check value covers each bit of the key, numbered from 0; -1 = none."""
        ...

    def confirm(self, keys: Array, helper: Helper) -> Array:
        """(attempts, checks) bool: whether each check value of the helper data fits these keys.

        The answer for one check depends on no bit of another.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Linear:
    """What the helper data say about the witness bits, over GF(2), block by block."""

    positions: Array  # (1 or attempts, blocks, n) int; bit j of symbol i is i * bits + j; -1 reads as 0
    parity: Array  # (r, n) uint8: code-offset, syndrome, checksum and second sketch alike
    syndrome: Array  # (attempts, blocks, r) uint8 = parity @ bits
    secret_map: Array  # (k, n) uint8: how bits become secret
    secret_offset: Array  # (attempts, blocks, k) uint8: secret = secret_map @ bits ^ secret_offset

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "positions", "parity", "syndrome", "secret_map", "secret_offset")


@runtime_checkable
class Disclosed(Protocol):
    """Optional part of a scheme: lets the harness attack its helper data exactly."""

    @property
    def labels(self) -> Array:
        """(alphabet, bits) uint8: symbol -> witness bits."""
        ...

    def linear(self, helper: Helper) -> Linear: ...
    def finish(self, secret: Array, helper: Helper) -> Array:
        """(attempts, blocks * k) -> keys: privacy amplification, or identity."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """Finished honest runs, for learning and for history."""

    subject: Array  # (attempts,) int pseudonyms, for grouping
    session: Array
    captures: Mapping[str, Capture]
    helper: Helper
    witness: Witness | None = None  # A's
    keys: Array | None = None  # (attempts, key_bits) uint8

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "subject", "session", "captures", "helper", "keys")


@runtime_checkable
class Device(Protocol):
    """B as an oracle: one call is one counted query per attempt."""

    def __call__(self, helper: Helper, capture: Capture | None = None) -> Array: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Exactly what one adversary may see; picklable."""

    scheme: Any  # its own copy (Kerckhoffs)
    attempts: int
    subject: Array  # (attempts,) pseudonyms: equal number, same person
    session: Array
    captures: Mapping[str, Capture]  # by adversary role
    helper: Helper
    population: Exchange | None = None
    history: Exchange | None = None
    notes: Mapping[str, Array] = field(default_factory=dict)  # what its own interfere() returned
    device: Device | None = None  # if `sees` names "device"

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "subject", "session", "captures", "helper", "notes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """An adversary's probability for every symbol of the witness, or every bit of the key."""

    log_prob: Array  # (attempts, m, alphabet) normalised natural logs; -inf allowed
    about: str = "witness"  # or "key": m = key_bits, alphabet 2
    work: float = 0.0  # log2 of off-line trials already spent

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "log_prob")


@dataclass(frozen=True, slots=True, kw_only=True)
class Guesses:
    """An adversary's list of keys."""

    keys: Array  # (attempts, g, key_bits) uint8, best first, g <= 4096
    work: float = 0.0

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "keys")


@runtime_checkable
class Attack(Protocol):
    """One adversary. An optional attribute `likes` names more that it uses when present."""

    @property
    def name(self) -> str: ...
    @property
    def sees(self) -> frozenset[str]:
        """Roles, and the words helper, population, history, labels, device."""
        ...

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief | Guesses: ...


@runtime_checkable
class Interferes(Protocol):
    """Optional part of an attack: an adversary who writes to a sensor before A and B run."""

    def interfere(
        self, captures: Mapping[str, Capture], *, rng: np.random.Generator
    ) -> tuple[Mapping[str, Capture], Mapping[str, Array]]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """One subject's session in a corpus: the block that is never split."""

    subject: int  # pseudonym
    session: int  # pseudonym; sessions of one subject are ordered in time by it
    attempts: int
    streams: frozenset[str]  # "role:signal" of every stream recorded in it


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensed:
    """One stream of one sitting: a capture, and which attempt and whose hand each row belongs to.

    Several attackers on one attempt are several rows; an attempt without the stream has none.
    """

    capture: Capture  # (rows, channels, samples)
    attempt: Array  # (rows,) int, 0 <= attempt < sitting.attempts, ascending
    attacker: Array  # (rows,) int pseudonym of the person behind the capture; -1 = nobody named

    __reduce__ = _by_fields

    def __post_init__(self) -> None:
        _freeze(self, "attempt", "attacker")


@runtime_checkable
class Corpus(Protocol):
    """People and what was sensed of them, recorded or simulated, one sitting at a time.

    A corpus is immutable, picklable, and gives the same sitting the same bytes at every call.
    """

    @property
    def name(self) -> str: ...
    @property
    def data(self) -> str:
        """ "recorded" or "simulated"."""
        ...

    def sittings(self) -> Sequence[Sitting]:
        """Every subject's sessions, sorted by subject and session."""
        ...

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        """The asked-for streams of one sitting, by "role:signal"; only those that it has."""
        ...

    def describe(self) -> Mapping[str, Any]:
        """JSON-ready facts for the report: scenario or source, excluded attempts, parameters."""
        ...

    def digest(self) -> str:
        """SHA-256 (hex) of everything that determines the captures."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A number as it leaves an estimator: with its interval, what it bounds, and what it rests on.

    `low` or `high` is NaN where a one-sided limit leaves that end open.
    """

    value: float
    low: float
    high: float
    level: float
    unit: str  # "bit", "probability", "bit/s", "s", ...
    side: str  # one of SIDES
    evidence: str  # one of EVIDENCE
    subjects: int
    attempts: int
    method: str  # a slug

    def __post_init__(self) -> None:
        if self.side not in SIDES:
            raise ValueError(f"`side` must be one of {', '.join(SIDES)}, got {self.side!r}")
        if self.evidence not in EVIDENCE:
            raise ValueError(f"`evidence` must be one of {', '.join(EVIDENCE)}, got {self.evidence!r}")
        if not 0 < self.level < 1:
            raise ValueError(f"`level` must lie strictly between 0 and 1, got {self.level}")
