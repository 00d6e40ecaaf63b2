"""From what the user wrote to a plug-in that is to be checked: its members may be missing."""

from __future__ import annotations

from typing import Any

from harness.checks.outcomes import raised
from harness.errors import ContractError, UsageError
from harness.plugins import file_of, names, nearest, parsed, unchecked

__all__ = ["loaded"]

KINDS = ("scheme", "attack")


def loaded(spec: str, kind: str = "auto") -> tuple[str, Any]:
    """The kind and the plug-in.

    Parameters
    ----------
    spec : str
        A registered name, ``file.py:Name`` or ``file.toml``, with parameters as elsewhere.
    kind : "scheme", "attack" or "auto"
        "auto": an attack if it has `believe`, else a scheme.

    Raises
    ------
    UsageError
        If there is no such name, file or class.
    ContractError
        If it is so ill-made that its kind cannot be told.
    """
    written = file_of(parsed(spec)[0])
    if written is None:
        return _registered(spec, kind)
    if kind != "auto":
        return kind, _made(kind, spec)
    if written[0].suffix == ".toml":
        return "scheme", _made("scheme", spec)
    if not written[1]:
        return _only_one(spec)
    value = _made("scheme", spec)
    try:
        return ("attack" if hasattr(value, "believe") else "scheme"), value
    except (Exception, SystemExit) as error:  # a stranger's parts may raise anything
        raise UsageError(
            f"`believe` of {spec} must be readable, got {raised(error)}: say by `--kind` what it is"
        ) from error


def _made(kind: str, spec: str) -> Any:
    """The plug-in, whose constructor may end the process as little as the rest of it."""
    try:
        return unchecked(kind, spec).value
    except SystemExit as error:
        raise UsageError(f"{spec} cannot be made: {raised(error)}") from error


def _registered(spec: str, kind: str) -> tuple[str, Any]:
    target = parsed(spec)[0]
    known = {name: k for k in KINDS if kind in ("auto", k) for name in names(k)}
    if target not in known:
        raise UsageError(
            f"a plug-in must be a registered name, a file.py:Name or a file.toml, got {target!r}; "
            f"{nearest(target, list(known))}"
        )
    return known[target], _made(known[target], spec)


def _only_one(spec: str) -> tuple[str, Any]:
    """The one plug-in that a file holds, of either kind."""
    found, refused = [], []
    for kind in KINDS:
        try:
            found.append((kind, _made(kind, spec)))
        except (UsageError, ContractError) as error:
            refused.append(str(error))
    if len(found) != 1:
        raise UsageError(
            refused[0] if refused else f"{spec} holds a scheme and an attack: give file.py:Name"
        )
    return found[0]
