"""From a claims file to checked claims, and to all that are in force."""

from __future__ import annotations

import reprlib
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from harness.claims.model import Claim, Claims, Potential, Requirement, Scoped, Use
from harness.claims.presets import PRESETS
from harness.errors import UsageError
from harness.plugins import nearest
from harness.threats import STANDARD_ADVERSARIES, parts, within

__all__ = [
    "MOST_BYTES",
    "check_names",
    "claims_schema",
    "effective",
    "parse_claims",
    "read_claims",
    "use_of",
]

MOST_BYTES = 256 * 1024
"""Size of a claims file at most; claims are written by hand."""

_TABLES: Mapping[str, type[BaseModel]] = {
    "use": Use,
    "claim": Claim,
    "requirement": Requirement,
    "out_of_scope": Scoped,
    "potential": Potential,
}
_HARSHEST = Use(kind="raw", key="lasting")


def read_claims(path: str | Path) -> Claims:
    """Read and check a claims file.

    Parameters
    ----------
    path : str or Path
        TOML, UTF-8, at most `MOST_BYTES`.

    Returns
    -------
    Claims
        As written; see `effective` for what is in force. Names of attacks and schemes are checked by
        `check_names`, once it is known which there are.

    Raises
    ------
    UsageError
        One sentence: what must be, what was found where.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:  # a name with a null byte is a ValueError
        why = getattr(error, "strerror", None) or "no such file can be"
        raise UsageError(f"claims must be in a file that can be read, got {path}: {why}") from None
    return parse_claims(raw, source=path.name)


def parse_claims(raw: bytes, *, source: str) -> Claims:
    """Check the content of a claims file; `source` names it in errors. Otherwise as `read_claims`."""
    if len(raw) > MOST_BYTES:
        raise UsageError(f"a claims file must hold at most {MOST_BYTES} bytes, got more in {source}")
    try:
        content = tomllib.loads(raw.decode("utf-8"))
        claims = Claims.model_validate(content)
    except ValidationError as error:
        raise UsageError(_sentence(error, source)) from None
    except UnicodeDecodeError as error:
        raise UsageError(
            f"a claims file must be UTF-8, got another byte at {error.start} of {source}"
        ) from None
    except RecursionError:
        raise UsageError(
            f"a claims file must be nested a few levels deep, got far more in {source}"
        ) from None
    except ValueError as error:  # not TOML, or a number with thousands of digits
        said = " ".join(str(error).split())[:200]
        raise UsageError(f"a claims file must be TOML, got something else in {source}: {said}") from None
    effective(claims)
    return claims


def _sentence(error: ValidationError, source: str) -> str:
    """One sentence on the gravest of the errors: an unknown key explains a missing one."""
    found = error.errors(include_url=False, include_context=False)
    first = next((e for e in found if e["type"] == "extra_forbidden"), found[0])
    place = first["loc"]
    if first["type"] == "extra_forbidden":
        table = _TABLES.get(str(place[0])) if len(place) > 1 else Claims
        known = list(table.model_fields) if table is not None else []
        key = str(place[-1])[:80]
        return f"{_where(place[:-1], source)} must hold known keys only, got {key!r}; {nearest(key, known)}"
    message = first["msg"].removeprefix("Value error, ")
    message = message[:1].lower() + message[1:]
    got = "" if first["type"] == "missing" or len(place) < 2 else f", got {_short(first['input'])}"
    return f"{_where(place, source)} is not as it must be: {message}{got}"


def _short(value: Any) -> str:
    """A value in a few words, however deep or long it is."""
    return "a table" if isinstance(value, dict) else reprlib.repr(value)[:80]


def _where(place: tuple[int | str, ...], source: str) -> str:
    words: list[str] = []
    for part in place:
        if isinstance(part, int):
            words[-1] = f"{words[-1]} {part + 1}"
        else:
            words.append("key" if part == "[key]" else part[:80])
    return ", ".join([source, *words])


def effective(claims: Claims) -> Claims:
    """Everything that is in force: the presets written out before the file's own claims.

    Parameters
    ----------
    claims : Claims

    Returns
    -------
    Claims
        Without presets; `use` is that of the file, else that of a preset, else None (see `use_of`).

    Raises
    ------
    UsageError
        An unknown preset, an id that is taken twice, a claim that points at no requirement, a use that a
        preset cannot have, or an attack that is claimed about and out of scope at once.
    """
    use = claims.use
    requirements: list[Requirement] = []
    own: list[Claim] = []
    for name in claims.presets:
        if name not in PRESETS:
            raise UsageError(
                f"`presets` must name ready-made claims, got {name[:80]!r}; {_preset_hint(name)}"
            )
        preset = PRESETS[name]
        use = use or preset.use
        if use is not None and preset.use is not None and use.kind != preset.use.kind:
            raise UsageError(f"preset {name} asks for use {preset.use.kind!r}, got {use.kind!r} in [use]")
        requirements.append(preset.requirement)
        own += preset.claims
    requirements += claims.requirement
    own += claims.claim
    for part, ids in (("claim", [c.id for c in own]), ("requirement", [r.id for r in requirements])):
        twice = sorted({i for i in ids if ids.count(i) > 1})
        if twice:
            raise UsageError(
                f"each {part} must have an id of its own, got {twice[0]!r} twice, once by a preset"
            )
    _check_links(own, [r.id for r in requirements], [s.threat for s in claims.out_of_scope])
    return claims.model_copy(
        update={"presets": (), "use": use, "claim": tuple(own), "requirement": tuple(requirements)}
    )


def _preset_hint(name: str) -> str:
    return nearest(name[:80], list(PRESETS))


def _check_links(claims: Iterable[Claim], requirements: list[str], scoped: list[str]) -> None:
    for claim in claims:
        if claim.requirement is not None and claim.requirement not in requirements:
            hint = nearest(claim.requirement, requirements)
            raise UsageError(
                f"claim {claim.id} must point at a requirement, got {claim.requirement!r}; {hint}"
            )
        outside = within(claim.attack or "", scoped)
        if outside is not None:
            raise UsageError(
                f"claim {claim.id} must be about an attack in scope, got {outside!r}, which is declared "
                "out of scope"
            )


def use_of(claims: Claims) -> Use:
    """The use that claims are judged at: the harshest where none is declared."""
    return claims.use or _HARSHEST


def check_names(claims: Claims, *, attacks: Iterable[str], schemes: Iterable[str] | None = None) -> None:
    """Refuse names of attacks, threats and schemes that nobody knows.

    Parameters
    ----------
    claims : Claims
    attacks : iterable of str
        Attacks that there are, beside the standard adversaries; combinations count by their parts.
    schemes : iterable of str, optional
        Schemes that are audited. None: not known yet, and not checked.

    Raises
    ------
    UsageError
        With the nearest known name.
    """
    known = list(dict.fromkeys([*STANDARD_ADVERSARIES, *(p for a in attacks for p in sorted(parts(a)))]))
    named = [
        *((f"`attack` of claim {c.id}", c.attack) for c in claims.claim if c.attack not in (None, "all")),
        *(("`threat` of [[out_of_scope]]", s.threat) for s in claims.out_of_scope),
        *(("`attack` of [[potential]]", p.attack) for p in claims.potential),
    ]
    for where, name in named:
        for part in sorted(parts(name or "")):
            if part not in known:
                raise UsageError(f"{where} must be known, got {part[:80]!r}; {nearest(part[:80], known)}")
    there = None if schemes is None else list(schemes)
    for claim in claims.claim:
        if there is not None and claim.scheme is not None and claim.scheme not in there:
            hint = nearest(claim.scheme[:80], there)
            raise UsageError(
                f"`scheme` of claim {claim.id} must be audited, got {claim.scheme[:80]!r}; {hint}"
            )


def claims_schema() -> dict[str, Any]:
    """JSON Schema of a claims file, read as TOML."""
    return Claims.model_json_schema()
