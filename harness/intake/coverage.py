"""Which adversaries a corpus can test, and why not the others: known before anything is run."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from harness.contracts import DEVICE_A, DEVICE_B
from harness.intake.taken import Taken
from harness.threats import STANDARD_ADVERSARIES
from harness.view import needs

__all__ = ["Coverage", "Presence", "covered", "unread_roles"]

_OWN = frozenset({DEVICE_A, DEVICE_B})
_BY_THE_HARNESS = frozenset({"enumeration", "relay", "strangers"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """What there is for one adversary; `reason` if that is nothing."""

    attack: str
    sees: tuple[str, ...]
    subjects: int
    attempts: int
    attackers: int
    reason: str | None


class Presence:
    """Who and what was captured in each attempt of the owners."""

    def __init__(self) -> None:
        self.roles: dict[tuple[int, int, int], set[str]] = {}
        self._attackers: dict[str, set[int]] = {}
        self.signals: dict[str, set[str]] = {}

    def see(self, taken: Taken) -> None:
        """Take note of one capture."""
        key = taken.subject, taken.session, taken.attempt
        self.roles.setdefault(key, set()).update((taken.role, taken.stream))
        self.signals.setdefault(taken.role, set()).add(taken.signal)
        if taken.attacker >= 0:
            self._attackers.setdefault(taken.role, set()).add(taken.attacker)

    @property
    def complete(self) -> list[tuple[int, int, int]]:
        """Attempts with both devices."""
        return sorted(key for key, roles in self.roles.items() if roles >= _OWN)

    def later(self, keys: Iterable[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
        """Those of the attempts whose person has an earlier session."""
        first: dict[int, int] = {}
        for subject, session, _ in self.complete:
            first.setdefault(subject, session)
        return [key for key in keys if first.get(key[0], key[1]) < key[1]]

    def attackers(self, roles: Iterable[str]) -> int:
        """People behind the captures of these roles."""
        return len(set().union(*(self._attackers.get(r.partition(":")[0], set()) for r in roles)))


def covered(attacks: Iterable[Any], presence: Presence) -> list[Coverage]:
    """What there is for each attack by its `sees`, and for the adversaries that the harness runs itself."""
    found = [_of(attack, presence) for attack in attacks]
    named = {one.attack for one in found}
    complete = presence.complete
    people = {key[0] for key in complete}
    for name in sorted(_BY_THE_HARNESS - named):
        lacking = name == "strangers" and len(people) < 2
        reason = "another person's body needs at least two subjects" if lacking else None
        count = 0 if lacking else len(complete)
        found.append(
            Coverage(
                attack=name, sees=(), subjects=0 if lacking else len(people), attempts=count, attackers=0,
                reason=reason if complete else "no attempt has both devices",
            )
        )  # fmt: skip
    for name in STANDARD_ADVERSARIES:
        if name not in named | _BY_THE_HARNESS:
            found.append(
                Coverage(
                    attack=name,
                    sees=(),
                    subjects=0,
                    attempts=0,
                    attackers=0,
                    reason="no such attack is there",
                )
            )
    return found


def _of(attack: Any, presence: Presence) -> Coverage:
    roles, words = needs(attack, wished=False)
    served = complete = presence.complete
    reason = None if complete else "no attempt has both devices"
    for role in sorted(roles):
        having = _having(presence, role)
        if reason is None and not having:
            reason = f"no capture of role {role}"
            if role == "earlier":
                reason += ", and nobody has an earlier session to take it from"
        served = [key for key in served if key in having]
    if reason is None and not served:
        reason = "no attempt has all of its roles"
    if reason is None and "population" in words and len({key[0] for key in complete}) < 2:
        reason = "learning from other people needs at least two subjects"
    if reason is None and "history" in words:
        served = presence.later(served)
        reason = None if served else "no attempt has an earlier session of the same person"
    served = [] if reason else served
    return Coverage(
        attack=str(attack.name),
        sees=tuple(sorted(roles | words)),
        subjects=len({key[0] for key in served}),
        attempts=len(served),
        attackers=presence.attackers(roles) if served else 0,
        reason=reason,
    )


def _having(presence: Presence, role: str) -> set[tuple[int, int, int]]:
    """Complete attempts that have a role, or "role:signal"."""
    complete = presence.complete
    found = {key for key in complete if role in presence.roles[key]}
    if not found and role.partition(":")[0] == "earlier" and "earlier" not in presence.signals:
        return set(presence.later(complete))  # filled from the victim's sessions before
    return found


def unread_roles(attacks: Iterable[Any], presence: Presence) -> dict[str, int]:
    """Roles that no attack reads, and in how many attempts they are; a slip of the pen ends up here."""
    read = {role.partition(":")[0] for attack in attacks for role in needs(attack)[0]} | _OWN
    counts: Mapping[str, int] = {
        role: sum(role in own for own in presence.roles.values()) for role in presence.signals
    }
    return {role: count for role, count in sorted(counts.items()) if role not in read}
