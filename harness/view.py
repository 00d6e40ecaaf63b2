"""The only constructor of a `View`: exactly what one adversary may see of some attempts."""

from __future__ import annotations

import copy
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from harness.cache import CachedStream, Captures
from harness.contracts import DEVICE_A, DEVICE_B, Array, Capture, Exchange, Helper, View
from harness.exchange import Honest, signal_of, take
from harness.streams import stream

__all__ = ["WORDS", "Rows", "Unseen", "assemble", "needs", "population_rows", "session_ranks", "streams_of"]

WORDS = frozenset({"helper", "population", "history", "labels", "device"})
_Plan: TypeAlias = list[tuple[CachedStream, Array]]
POPULATION_CAP = 400  # attempts of other people that an adversary learns from at most


class Unseen(Exception):
    """This corpus cannot show what the attack asks for; the message is the reason."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of a View: which attempt, and whose hand."""

    attempt: Array  # (rows,) int: index into Honest
    attacker: Array  # (rows,) int; -1 = nobody named


def needs(attack: Any, *, wished: bool = True) -> tuple[frozenset[str], frozenset[str]]:
    """Sensing roles and words that an attack asks for, (roles, words); its wishes included."""
    asked = frozenset(attack.sees) | (
        frozenset(getattr(attack, "likes", frozenset())) if wished else frozenset()
    )
    return asked - WORDS, asked & WORDS


def streams_of(captures: Captures, scheme: Any, role: str) -> dict[str, str]:
    """Names under which a role's captures appear in a View, and the streams behind them.

    The kind of signal that the scheme reads goes by the role's name; a role without it offers what
    it has, several kinds as "role:signal". "role:signal" may also be asked for by name.
    """
    if ":" in role:
        base, _, kind = role.partition(":")
        return {role: role} if kind in captures.signals(base) else {}
    kinds = captures.signals(role)
    wanted = signal_of(scheme, role)
    if wanted in kinds:
        return {role: f"{role}:{wanted}"}
    if role == "earlier" and not kinds:  # filled from the victim's sessions before
        return {role: f"{DEVICE_A}:{signal_of(scheme, DEVICE_A)}"}
    if len(kinds) == 1:
        return {role: f"{role}:{kinds[0]}"}
    return {f"{role}:{kind}": f"{role}:{kind}" for kind in kinds}


def session_ranks(honest: Honest) -> Array:
    """(attempts,) how many sessions the subject had before this one."""
    rank = np.zeros(honest.attempts, np.intp)
    for subject in np.unique(honest.subject):
        own = honest.subject == subject
        rank[own] = np.unique(honest.session[own], return_inverse=True)[1]
    return rank


def population_rows(honest: Honest, others: Array, *, seed: int, fold: int) -> Array:
    """At most POPULATION_CAP attempts of other people, spread over all of them, in order."""
    usable = others[honest.established[others]]
    if len(usable) <= POPULATION_CAP:
        return usable
    chosen = stream(seed, "population", fold).choice(len(usable), POPULATION_CAP, replace=False)
    return usable[np.sort(chosen)]


def assemble(
    attack: Any,
    scheme: Any,
    honest: Honest,
    captures: Captures,
    *,
    victims: Array,
    population: Array,
) -> tuple[View, Rows]:
    """Build the View of one attack on some attempts.

    Parameters
    ----------
    victims, population : (…,) int
        Attempts under attack, and of other subjects to learn from (may be empty).

    Returns
    -------
    View, Rows
        A row for each attempt and attacker for whom every role in `sees` has a capture.

    Raises
    ------
    Unseen
        If there is no such attempt, or no population where one is asked for.
    """
    _, words = needs(attack)
    required, _ = needs(attack, wished=False)
    names = _names(attack, scheme, captures)
    rows = _rows(
        honest, captures, victims, {n: s for n, s in names.items() if _base(n) in required or n in required}
    )
    if len(rows.attempt) == 0:
        raise Unseen(f"no attempt has a capture of every role in {', '.join(sorted(required))}")
    if "population" in attack.sees and len(population) == 0:
        raise Unseen("learning from other people needs at least two subjects")
    seen = _planned(honest, captures, rows, names)
    learned = None
    if "population" in words and len(population):
        learned = _population(scheme, honest, captures, population, {k: names[k] for k in seen})
    history = None
    if "history" in words:
        history = _history(scheme, honest, captures, victims, keys="labels" in attack.sees)
    return (
        View(
            scheme=copy.deepcopy(scheme),
            attempts=len(rows.attempt),
            subject=honest.subject[rows.attempt],
            session=honest.session[rows.attempt],
            captures=seen,
            helper=_helper(honest, rows.attempt) if "helper" in words else {},
            population=learned,
            history=history,
        ),
        rows,
    )


def _base(name: str) -> str:
    return name.partition(":")[0]


def _names(attack: Any, scheme: Any, captures: Captures) -> dict[str, str]:
    """View name -> stream, for all roles asked for; raises Unseen if a required one is nowhere."""
    required, _ = needs(attack, wished=False)
    roles, _ = needs(attack)
    names: dict[str, str] = {}
    for role in sorted(roles):
        found = streams_of(captures, scheme, role)
        if not found and role in required:
            raise Unseen(f"the corpus holds no capture of role {role!r}")
        names |= found
    return names


def _helper(honest: Honest, rows: Array) -> Helper:
    return {k: v[rows] for k, v in honest.helper.items()}


def _source(
    honest: Honest, captures: Captures, sitting: int, stream_name: str, view_name: str
) -> CachedStream | None:
    """The cached stream that serves a view name in one sitting; `earlier` may be the session before."""
    if _base(view_name) != "earlier" or _base(stream_name) == "earlier":
        return captures.of(sitting, stream_name)
    here = captures.sittings[sitting]
    before = [
        i for i, s in enumerate(captures.sittings) if s.subject == here.subject and s.session < here.session
    ]
    return (
        captures.of(max(before, key=lambda i: captures.sittings[i].session), stream_name)
        if before
        else None
    )


def _rows(honest: Honest, captures: Captures, attempts: Array, names: dict[str, str]) -> Rows:
    """Pairs of attempt and attacker for which every required stream has a row."""
    pairs: list[tuple[int, int]] = []
    tables: dict[int, list[dict[int, list[int]]]] = {}
    for attempt in attempts.tolist():
        sitting, local = int(honest.sitting[attempt]), int(honest.local[attempt])
        if sitting not in tables:
            tables[sitting] = [
                _hands(_source(honest, captures, sitting, source, name)) for name, source in names.items()
            ]
        hands = [table.get(local, []) for table in tables[sitting]]
        if not all(hands):
            continue
        people = sorted({h for hand in hands for h in hand if h >= 0}) or [-1]
        pairs += [(attempt, person) for person in people]
    made = np.array(pairs, np.intp).reshape(-1, 2)
    return Rows(attempt=made[:, 0], attacker=made[:, 1])


def _hands(cached: CachedStream | None) -> dict[int, list[int]]:
    """Attempt -> attackers who recorded this stream of it."""
    found: dict[int, list[int]] = {}
    if cached is not None:
        for attempt, attacker in zip(cached.attempt.tolist(), cached.attacker.tolist(), strict=True):
            found.setdefault(attempt, []).append(attacker)
    return found


class _OnDemand(Mapping[str, Capture]):
    """Captures that are read when first asked for; pickled, they are all there."""

    __slots__ = ("_plans", "_read")

    def __init__(self, plans: dict[str, _Plan]) -> None:
        self._plans, self._read = plans, dict[str, Capture]()

    def __getitem__(self, name: str) -> Capture:
        if name not in self._read:
            self._read[name] = _stack([cached.load(rows) for cached, rows in self._plans[name]])
        return self._read[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._plans)

    def __len__(self) -> int:
        return len(self._plans)

    def __reduce__(self) -> tuple[Any, ...]:
        return dict, (dict(self),)


def _plan(honest: Honest, captures: Captures, rows: Rows, source: str, name: str) -> _Plan | None:
    """Where one stream of all rows is stored, or None if any row lacks it."""
    plan: _Plan = []
    for sitting, members in _runs(honest.sitting[rows.attempt]):
        cached = _source(honest, captures, sitting, source, name)
        if cached is None:
            return None
        chosen = []
        for i in members:
            mine = np.flatnonzero(cached.attempt == honest.local[rows.attempt[i]])
            if mine.size == 0:
                return None
            own = mine[cached.attacker[mine] == rows.attacker[i]]
            chosen.append(int(own[0] if own.size else mine[0]))
        plan.append((cached, np.array(chosen, np.intp)))
    return plan


def _planned(honest: Honest, captures: Captures, rows: Rows, streams: Mapping[str, str]) -> _OnDemand:
    """The streams that every row has, by their names in the View."""
    plans = {name: _plan(honest, captures, rows, source, name) for name, source in streams.items()}
    return _OnDemand({name: plan for name, plan in plans.items() if plan is not None})


def _runs(values: Array) -> list[tuple[int, range]]:
    """Consecutive equal values with their index ranges."""
    edges = np.flatnonzero(np.r_[True, np.diff(values) != 0, True])
    return [(int(values[a]), range(a, b)) for a, b in itertools.pairwise(edges.tolist())]


def _stack(parts: Sequence[Capture]) -> Capture:
    """Captures one below the other, shorter ones ending in NaN."""
    first = parts[0]
    length = max(p.samples.shape[2] for p in parts)
    rows = sum(p.samples.shape[0] for p in parts)
    samples = np.full((rows, first.samples.shape[1], length), np.nan)
    start = 0
    for part in parts:
        stop = start + part.samples.shape[0]
        samples[start:stop, :, : part.samples.shape[2]] = part.samples
        start = stop
    times = [p.seconds for p in parts]
    return Capture(
        samples=samples,
        rate_hz=first.rate_hz,
        signal=first.signal,
        unit=first.unit,
        seconds=None
        if any(t is None for t in times)
        else np.concatenate([t for t in times if t is not None]),
    )


def _population(
    scheme: Any, honest: Honest, captures: Captures, attempts: Array, names: dict[str, str]
) -> Exchange | None:
    """Other people's finished runs: devices' captures, the same roles, witness and keys."""
    rows = _rows(honest, captures, attempts, names)
    if len(rows.attempt) == 0:
        return None
    streams = {role: f"{role}:{signal_of(scheme, role)}" for role in (DEVICE_A, DEVICE_B)} | names
    return Exchange(
        subject=honest.subject[rows.attempt],
        session=honest.session[rows.attempt],
        captures=_planned(honest, captures, rows, streams),
        helper=_helper(honest, rows.attempt),
        witness=take(honest.a, rows.attempt),
        keys=honest.keys_a[rows.attempt],
    )


def _history(
    scheme: Any, honest: Honest, captures: Captures, victims: Array, *, keys: bool
) -> Exchange | None:
    """The victims' sessions before the ones under attack; past keys only for who may know them."""
    ranks = session_ranks(honest)
    first = {
        int(s): int(ranks[victims[honest.subject[victims] == s]].min())
        for s in np.unique(honest.subject[victims])
    }
    earlier = np.array(
        [
            i
            for i in np.flatnonzero(honest.established).tolist()
            if ranks[i] < first.get(int(honest.subject[i]), 0)
        ],
        np.intp,
    )
    if len(earlier) == 0:
        return None
    rows = Rows(attempt=earlier, attacker=np.full(len(earlier), -1))
    source = f"{DEVICE_A}:{signal_of(scheme, DEVICE_A)}"
    return Exchange(
        subject=honest.subject[earlier],
        session=honest.session[earlier],
        captures=_planned(honest, captures, rows, {DEVICE_A: source}),
        helper=_helper(honest, earlier),
        witness=take(honest.a, earlier) if keys else None,
        keys=honest.keys_a[earlier] if keys else None,
    )
