"""An adversary who writes to a sensor: what it adds reaches A and B, and they run the scheme again.

The attack gets blanks of the devices' captures and of its own roles: shape, rate and unit, no signal. What
it returns is added to what the sensors record and cut to their range. No capture declares the range of its
converter, so the range of a stream is what the corpus recorded of it at the extremes, anywhere. A real
converter reaches at least as far: an adversary may have more room than this, never less.

The disturbed runs take the place of the honest ones in the rows under attack; people learned from stay
undisturbed. A's coins are salted with the disturbed capture, so they are not those of the honest run.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol, runtime_checkable

import numpy as np

from harness.cache import CachedStream, Captures
from harness.contracts import Array, Belief, Capture, Exchange, Guesses, View, Witness
from harness.errors import ContractError
from harness.exchange import Honest, call, join, parts, run_block
from harness.sensors import added_samples, blanks, device_streams, noted, sittings_of
from harness.validate import same_helper_layout
from harness.view import Rows

__all__ = [
    "Act",
    "Ranges",
    "Strength",
    "Tunable",
    "Varied",
    "acted",
    "device_ranges",
    "disturbed",
    "few_per_sitting",
    "interferes",
    "ranges",
    "remembered",
    "shown",
    "strength_of",
    "symbols_right",
    "tuned",
    "variants",
    "with_runs",
]

Ranges = Mapping[str, tuple[float, float]]
FEW = 1  # attempts of each sitting on which other strengths of an attack are tried


@runtime_checkable
class Tunable(Protocol):
    """Optional part of an attack that interferes: it may look at other people before it acts."""

    def tuned(self, population: Exchange) -> Any:
        """The attack that acts: the same, fitted to other people's undisturbed captures."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """How hard an attack disturbs."""

    label: str  # a slug, the `method` of its rows
    amount: float | None = None  # in `unit`; None: of another kind, not on the scale
    unit: str = ""


@runtime_checkable
class Varied(Protocol):
    """Optional part of an attack that interferes: other strengths, which are tried on a few attempts."""

    @property
    def strength(self) -> tuple[str, float | None, str]:
        """Its own: a slug, and on a scale the amount and its unit."""
        ...

    def variants(self) -> Sequence[Any]:
        """The same attack at every other strength."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """What came of one disturbance."""

    strength: Strength
    attempt: Array  # (n,) int: index into Honest
    agreed: Array  # (n,) bool: the owner's devices share a key all the same
    runs: Honest | None = None  # the disturbed runs, row for row; None: not kept
    notes: Mapping[str, Array] = field(default_factory=dict)  # (n, ...) the attack's own
    added: Mapping[str, Array] = field(default_factory=dict)  # role -> (n, channels, samples)
    right: tuple[Array, Array] | None = None  # (rows,) attempt, share of symbols that the attack has right


def interferes(attack: Any) -> bool:
    """Does this attack write to a sensor?"""
    return bool(getattr(attack, "interferes", callable(getattr(attack, "interfere", None))))


def ranges(captures: Captures, names: Sequence[str]) -> Ranges:
    """Least and greatest value recorded in each stream, anywhere in the corpus."""
    found = {}
    for name in names:
        stored = [c for (_, stream), c in captures.streams.items() if stream == name]
        ends = [_extremes(c) for c in stored]
        found[name] = (min(e[0] for e in ends), max(e[1] for e in ends))
    return found


def _extremes(cached: CachedStream) -> tuple[float, float]:
    samples = np.load(cached.path, mmap_mode="r", allow_pickle=False)
    ends = float(samples.min()), float(samples.max())
    if not np.isfinite(ends).all():  # gaps; looking past them takes several times longer
        ends = float(np.fmin.reduce(samples, axis=None)), float(np.fmax.reduce(samples, axis=None))
    return ends if np.isfinite(ends).all() else (np.inf, -np.inf)  # nothing but gaps


def device_ranges(scheme: Any, captures: Captures) -> Ranges:
    """`ranges` of what both devices sense."""
    return ranges(captures, list(device_streams(scheme).values()))


def strength_of(attack: Any) -> Strength:
    """What an attack says of its own strength."""
    stated = getattr(attack, "strength", None)
    if stated is None:
        return Strength(label="as-given")
    label, amount, unit = parts(attack.name, "strength", stated, 3)
    return Strength(label=str(label), amount=None if amount is None else float(amount), unit=str(unit))


def variants(attack: Any) -> list[tuple[Strength, Any]]:
    """Other strengths of an attack, each with its name."""
    if not callable(getattr(attack, "variants", None)):
        return []
    return [(strength_of(other), other) for other in call(attack.name, "variants()", attack.variants)]


def remembered(act: Act, *, right: tuple[Array, Array] | None = None, runs: bool = False) -> Act:
    """The act without what only the attack itself needs, and the disturbed runs only if asked for."""
    return replace(act, notes={}, added={}, right=right, runs=act.runs if runs else None)


def symbols_right(
    told: Sequence[tuple[Belief | Guesses, Rows]], honest: Honest
) -> tuple[Array, Array] | None:
    """Attempt, and share of A's symbols that the likeliest have right; None if not about the witness."""
    attempts, shares = [], []
    for outcome, rows in told:
        if not isinstance(outcome, Belief) or outcome.about != "witness":
            return None
        likely = outcome.log_prob.argmax(axis=2)
        attempts.append(rows.attempt)
        shares.append((likely == honest.a.symbols[rows.attempt]).mean(axis=1))
    return np.concatenate(attempts), np.concatenate(shares)


def few_per_sitting(honest: Honest, attempts: Array) -> Array:
    """The first FEW of `attempts` in every sitting."""
    _, first, index = np.unique(honest.sitting[attempts], return_index=True, return_inverse=True)
    return np.asarray(attempts[np.arange(len(attempts)) - first[index.ravel()] < FEW])


def tuned(attack: Any, population: Exchange | None) -> Any:
    """A copy of the attack, fitted to other people if it knows how and there are any."""
    own = copy.deepcopy(attack)
    if population is None or not callable(getattr(own, "tuned", None)):
        return own
    fitted = call(attack.name, "tuned()", own.tuned, population)
    if not callable(getattr(fitted, "interfere", None)):
        raise ContractError(attack.name, "tuned()", "an attack that interferes", type(fitted).__name__)
    return fitted


def acted(
    attack: Any,
    scheme: Any,
    honest: Honest,
    captures: Captures,
    *,
    attempts: Array,
    limits: Ranges,
    seed: int,
    rng: np.random.Generator,
    strength: Strength,
) -> Act:
    """Let the attack write to the sensors of some attempts, and run the scheme on what they record.

    Parameters
    ----------
    attempts : (n,) int
        Ascending; of one sitting all that are to run together.
    limits : mapping
        From `ranges`, of both devices' streams.
    seed : int
        Of the run: A's coins are named as in an honest exchange.

    Returns
    -------
    Act
        With `runs`, `notes` and `added`.

    Raises
    ------
    ContractError
        If the attack returned something that cannot be added, or the scheme failed.
    """
    shapes = blanks(attack, scheme, honest, captures, attempts)
    answer = call(attack.name, "interfere()", attack.interfere, shapes, rng=rng)
    wanted, notes = parts(attack.name, "interfere()", answer, 2)
    added = added_samples(attack.name, wanted, shapes)
    told = noted(attack.name, notes, len(attempts))
    if not added:
        return Act(strength=strength, attempt=attempts, agreed=honest.agreed[attempts], notes=told)
    devices = device_streams(scheme)
    blocks = []
    for sitting, rows in sittings_of(honest, attempts):
        both = {}
        for role, name in devices.items():
            cached = captures.of(sitting, name)
            if cached is None:
                raise ContractError(attack.name, "interfere()", f"given {name}", "a sitting without it")
            capture = cached.load(honest.local[attempts[rows]])
            both[role] = disturbed(capture, added.get(role), rows, limits[name])
        first = int(attempts[rows[0]])
        blocks.append(
            run_block(
                scheme,
                both,
                seed=seed,
                sitting=sitting,
                subject=int(honest.subject[first]),
                session=int(honest.session[first]),
            )
        )
    runs = join(scheme.name, blocks)
    return Act(strength=strength, attempt=attempts, agreed=runs.agreed, runs=runs, notes=told, added=added)


def disturbed(capture: Capture, added: Array | None, rows: Array, limits: tuple[float, float]) -> Capture:
    """The sensor's own signal with what was added in these rows, cut to the sensor's range.

    Parameters
    ----------
    capture : Capture
    added : (n, channels, samples), optional
        None: this sensor is left alone.
    rows : (len(capture.samples),) int
        Rows of `added`.
    limits : tuple of float
        Least and greatest value that the sensor records.
    """
    if added is None:
        return capture
    mixed = capture.samples + added[rows][:, :, : capture.samples.shape[2]]
    mixed = np.clip(mixed, *limits)
    seconds = capture.seconds
    if seconds is not None and capture.rate_hz is None and capture.unit == "s":
        # intervals that are longer or shorter take more or less time
        seconds = np.maximum(seconds + np.nansum((mixed - capture.samples)[:, 0], axis=1), 0.0)
    return replace(capture, samples=mixed, seconds=seconds)


def with_runs(honest: Honest, acts: Sequence[Act]) -> Honest:
    """Every attempt, the disturbed runs standing where the acts were."""
    for act in acts:
        if act.runs is not None:
            honest = _replaced(honest, act.attempt, act.runs)
    return honest


def _replaced(honest: Honest, attempt: Array, runs: Honest) -> Honest:
    def put(whole: Array, some: Array) -> Array:
        mixed = np.array(whole)
        mixed[attempt] = some
        return mixed

    def witness(whole: Witness, some: Witness) -> Witness:
        features = None
        if whole.features is not None and some.features is not None:
            features = put(whole.features, some.features)
        return Witness(
            symbols=put(whole.symbols, some.symbols),
            alphabet=whole.alphabet,
            acquired=put(whole.acquired, some.acquired),
            features=features,
        )

    same_helper_layout("scheme", honest.helper, runs.helper)
    arrays = ("keys_a", "keys_b", "accepted", "seconds")
    return replace(
        honest,
        **{n: put(getattr(honest, n), getattr(runs, n)) for n in arrays},
        a=witness(honest.a, runs.a),
        b=witness(honest.b, runs.b),
        helper={k: put(v, runs.helper[k]) for k, v in honest.helper.items()},
    )


def shown(view: View, rows: Rows, act: Act, limits: Ranges) -> View:
    """The View with the attack's own notes, and what it did to its own sensors."""
    place = np.searchsorted(act.attempt, rows.attempt)
    notes = {k: v[place] for k, v in act.notes.items()}
    own = {role: added for role, added in act.added.items() if role in view.captures}
    if not own:
        return replace(view, notes=notes)
    without = (-np.inf, np.inf)  # the adversary's own sensor: it may have chosen one with room
    mixed = {
        role: disturbed(capture, own.get(role), place, limits.get(role, without))
        for role, capture in view.captures.items()
    }
    return replace(view, notes=notes, captures=mixed)
