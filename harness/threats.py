"""The standard adversaries, and which threats an audit leaves open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from harness.results import Audit, Row

__all__ = ["STANDARD_ADVERSARIES", "attack_names", "open_threats", "parts", "scheme_names", "within"]

STANDARD_ADVERSARIES: Mapping[str, str] = MappingProxyType(
    {
        "mimicry": "copies the gesture, live or after practice, with sensors on their own body",
        "camera": "turns a video of the victim into a waveform",
        "population": "guesses keys from other people's keys, without any sensor",
        "helper-leak": "decodes the public helper data alone",
        "distant-sensor": "senses the victim without touching",
        "body-site": "senses another place on the same body",
        "replay": "holds earlier recordings of the victim",
        "profiled": "trains a model on other people that turns a view into the witness",
        "past-keys": "knows the victim's past sessions together with their keys",
        "touching-partner": "is in contact with the victim, by a handshake for instance",
        "neighbour": "runs another pair of devices beside this one",
        "enumeration": "ranks all keys by a belief and tries them off line",
        "helper-reuse": "stacks or links the helper data of several enrolments of one person",
        "helper-tamper": "alters helper data and watches which are accepted",
        "injection": "drives the sensors with a waveform of their own",
        "relay": "carries live messages between the victim and a device",
        "key-check": "tests parts of the key against a published check value",
        "strangers": "puts another person's body to the victim's helper data",
    }
)
"""What each standard adversary does, by the name of its attack."""

_RANKS_ALL_KEYS = 2**20  # odds at this many guesses or more are odds of ranking keys off line


def parts(attack: str) -> frozenset[str]:
    """The attacks that a name joins; their order makes no difference.

    Examples
    --------
    >>> parts("mimicry+replay") == parts("replay+mimicry")
    True
    """
    return frozenset(attack.split("+"))


def within(attack: str, threats: Iterable[str]) -> str | None:
    """The threat that an attack carries out, alone or with more: the first of them, or None.

    Examples
    --------
    >>> within("mimicry+replay", ["camera", "replay"]), within("mimicry", ["mimicry+replay"])
    ('replay', None)
    """
    return next((t for t in threats if parts(t) <= parts(attack)), None)


def attack_names(audit: Audit) -> list[str]:
    """Every adversary of an audit and every combination of them, in the order of the audit."""
    asked = [a.get("name") for a in audit.attacks]
    return list(dict.fromkeys(str(n) for n in [*asked, *(r.attack for r in audit.rows)] if n is not None))


def scheme_names(audit: Audit) -> list[str]:
    """Every scheme of an audit, in its order."""
    described = [s.get("name") for s in audit.schemes]
    return list(
        dict.fromkeys(str(n) for n in [*described, *(r.scheme for r in audit.rows)] if n is not None)
    )


def open_threats(audit: Audit) -> list[tuple[str, str]]:
    """Threats that an audit says nothing about, each with the reason.

    Two kinds: adversaries that were asked for and whose odds were not measured on some scheme, and standard
    adversaries that were not tried in any form. A part of a combination has been tried. Ranking all keys is
    tried by any measured odds at 2^20 guesses or more, and strangers by the row of that name.

    Parameters
    ----------
    audit : Audit

    Returns
    -------
    list of (threat, why)
        Adversaries asked for come first, then standard ones.
    """
    schemes, asked = scheme_names(audit), attack_names(audit)
    found = []
    for attack in asked:
        without = [s for s in schemes if not _measured(audit.select(scheme=s, attack=attack))]
        if without:
            whom = "" if len(without) == len(schemes) else f" on {', '.join(without)}"
            found.append((attack, f"not measured{whom}: {_reason(audit.select(attack=attack))}"))
    tried = {part for name in asked for part in (name, *parts(name))}
    if any(
        r.measure == "success-odds" and (r.budget or 0) >= _RANKS_ALL_KEYS for r in _figures(audit.rows)
    ):
        tried.add("enumeration")
    if any(r.measure == "strangers-agreement" for r in _figures(audit.rows)):
        tried.add("strangers")
    untried = [(n, f"not tried: {does}") for n, does in STANDARD_ADVERSARIES.items() if n not in tried]
    return [*found, *untried]


def _figures(rows: Iterable[Row]) -> list[Row]:
    return [r for r in rows if r.status == "measured"]


def _measured(rows: list[Row]) -> bool:
    return any(r.measure == "success-odds" for r in _figures(rows))


def _reason(rows: list[Row]) -> str:
    reasons = [r.reason for r in rows if r.status in ("untested", "failed") and r.reason]
    return reasons[0] if reasons else "the result holds no odds of it"
