"""Claims as TOML: those in force, and a commented example to start from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from harness.claims.model import Claims

__all__ = ["as_toml", "template"]


def as_toml(claims: Claims) -> str:
    """TOML text that reads back as the same claims; unprintable characters are escaped.

    Parameters
    ----------
    claims : Claims

    Returns
    -------
    str
    """
    content = claims.model_dump(exclude_none=True)
    lines = [f"version = {content.pop('version')}"]
    presets = content.pop("presets")
    if presets:
        lines.append(f"presets = {_value(presets)}")
    for name, part in content.items():
        if isinstance(part, Mapping):
            if part:
                lines += ["", f"[{name}]", *_pairs(part)]
            continue
        for entry in part:
            lines += ["", f"[[{name}]]", *_pairs(entry)]
    return "\n".join(lines) + "\n"


def _pairs(entry: Mapping[str, Any]) -> list[str]:
    return [
        f"{key} = {_budget(value) if key == 'budget' else _value(value)}" for key, value in entry.items()
    ]


def _budget(value: Any) -> str:
    """Large powers as such: few people see 2^64 in its twenty digits."""
    if isinstance(value, int) and value >= 1024 and value & (value - 1) == 0:
        return f'"2^{value.bit_length() - 1}"'
    return _value(value)


def _value(value: Any) -> str:
    if isinstance(value, str):
        return '"' + "".join(_escaped(c) for c in value) + '"'
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value)


def _escaped(character: str) -> str:
    if character in '"\\':
        return "\\" + character
    if character.isprintable():
        return character
    code = ord(character)
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def template() -> str:
    """A commented claims file that is sound as it stands."""
    return _TEMPLATE


_TEMPLATE = """\
# What the scheme promises. `keyassay claims FILE --result RESULT` holds it against an audit,
# `keyassay claims --effective FILE` prints what is in force, `keyassay claims --schema` what may be here.
version = 1

# Ready-made claims: twenty-volunteers, short-code-password-authenticated, 128-bit-off-line.
presets = ["twenty-volunteers"]

# What the key is for decides which guesses count. Left out: a raw, lasting key, guessed off line.
[use]
kind = "password-authenticated"  # or commit-open: a guess in every run; raw, confirmed: guessed off line
key = "fresh"                    # fresh for every session, or one that is lasting
tries_per_session = 1            # on line only
sessions = 10                    # in the lifetime of the lock

# Needs in words. Each should be met by a claim; those that are not are listed.
[[requirement]]
id = "no-borrowed-bike"
text = "Nobody but the rider whose hand is on the grip unlocks the cargo bike."
owner = "security"

[[requirement]]
id = "quick"
text = "Riders are not kept waiting."
owner = "product"

# One threshold on one measure: exactly one of at_most and at_least.
[[claim]]
id = "lifetime-odds"
measure = "success-odds"
attack = "all"                   # or one name, or a combination as in "mimicry+replay"
budget = "use"                   # what [use] allows; or a number of guesses, or a power as in "2^40"
at_most = 0.3
confidence = 0.95                # one-sided, of the limit that must keep the threshold
requirement = "no-borrowed-bike"
rationale = "A thief has other ways that succeed about as often."
owner = "security"

[[claim]]
id = "copying-costs"
measure = "key-rank"             # log2 of the guesses that half of the people stand up to
attack = "mimicry"
at_least = 20
requirement = "no-borrowed-bike"

[[claim]]
id = "entropy-left"
measure = "min-entropy"
unit = "bit"                     # this measure comes in bit and in bit/symbol
method = "average-given-helper-independent-symbols"
at_least = 40
evidence = ["exact", "modelled"] # kinds accepted: counted, exact, modelled, assumed; default all
requirement = "no-borrowed-bike"

[[claim]]
id = "grip-time"
measure = "time"
at_most = 30                     # seconds
requirement = "quick"

# Threats that nobody needs to try, and why. A combination with one of them is out of scope as well.
[[out_of_scope]]
threat = "touching-partner"
reason = "Whoever holds the rider's hand can take the bike without any key."

# What an attack asks of whoever carries it out, in the steps of the five usual factors.
[[potential]]
attack = "mimicry"
elapsed_time = "1-week"          # 1-day, 1-week, 2-weeks, 1-month, 2-months ... 6-months, longer
expertise = "proficient"         # layman, proficient, expert, several-experts
knowledge = "public"             # public, restricted, sensitive, critical
window = "easy"                  # unlimited, easy, moderate, difficult
equipment = "specialised"        # standard, specialised, bespoke, several-bespoke
rationale = "The gesture is seen at any bike rack; electrode sets are sold to anybody."

# For a gate: how much worse a measure may get before that counts as a regression.
[margins]
key-rank = 1.0                   # bits of guesswork
key-agreement = 0.02
"""
