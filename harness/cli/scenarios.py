"""From the words of a command, or a TOML file, to a simulated corpus."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from typing import Any

from harness.contracts import Corpus
from harness.errors import UsageError
from harness.plugins import names, nearest, resolve

__all__ = ["scenario_of"]

DEFAULT = "cargo-bike"
MAX_BYTES = 2**20


def scenario_of(scenario: str, settings: Sequence[str], size: Mapping[str, Any]) -> Corpus:
    """Build a simulated corpus.

    Parameters
    ----------
    scenario : str
        A registered corpus, or a path that ends in ``.toml``.
    settings : sequence of str
        ``NAME=VALUE``; these overrule a file, and `size` overrules these.
    size : mapping
        Parameters by name.

    Raises
    ------
    UsageError
        Unknown scenario or parameter, a value of the wrong kind or one that no body can have.
    """
    name, wanted = _read(Path(scenario)) if scenario.endswith(".toml") else (scenario, {})
    known = names("corpus")
    if name not in known:
        raise UsageError(
            f"SCENARIO must be a simulated corpus or a .toml file, got {name!r}; "
            f"{nearest(name, list(known))}"
        )
    wanted = {**wanted, **dict(map(_setting, settings)), **size}
    kind = known[name].load()
    try:
        corpus: Corpus = resolve("corpus", kind, **_fitting(name, kind, wanted)).value
    except (TypeError, ValueError) as error:
        raise UsageError(str(error)) from error
    return corpus


def _read(path: Path) -> tuple[str, dict[str, Any]]:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise UsageError(f"{path} must be a small TOML file, got {path.stat().st_size} bytes")
        table = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise UsageError(f"{path} must be a readable TOML file, got: {error.strerror}") from None
    except ValueError as error:  # what is no TOML, and what is no UTF-8
        raise UsageError(f"{path} must be a TOML file of parameters, got: {error}") from None
    name = table.pop("scenario", DEFAULT)
    if not isinstance(name, str):
        raise UsageError(f"{path}: `scenario` must be a text, got {name!r}")
    return name, table


def _setting(text: str) -> tuple[str, Any]:
    name, equals, value = text.partition("=")
    if not equals or not name.strip().isidentifier():
        raise UsageError(f"`--set` must read NAME=VALUE, got {text!r}")
    try:
        return name.strip(), ast.literal_eval(value.strip())
    except (ValueError, SyntaxError, MemoryError, RecursionError):
        return name.strip(), value.strip()


def _fitting(name: str, kind: Any, wanted: Mapping[str, Any]) -> dict[str, Any]:
    """The wanted parameters, each of the kind that its default has."""
    if not is_dataclass(kind):
        return dict(wanted)
    defaults = {field.name: field.default for field in fields(kind) if field.init}
    found = {}
    for key, value in wanted.items():
        if key not in defaults:
            raise UsageError(f"{name} has no parameter {key!r}; {nearest(key, list(defaults))}")
        found[key] = value if defaults[key] is MISSING else _alike(key, value, defaults[key])
    return found


def _alike(key: str, value: Any, default: Any) -> Any:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if isinstance(default, str):
        # a word that reads as a number is a word all the same
        return str(value) if number else _checked(key, value, isinstance(value, str), "a word")
    if isinstance(default, int):
        whole = number and float(value).is_integer()
        return int(_checked(key, value, whole, "a whole number"))
    if isinstance(default, float):
        return float(_checked(key, value, number, "a number"))
    pair = isinstance(value, list | tuple) and len(value) == len(default)
    fits = pair and all(isinstance(x, int | float) and not isinstance(x, bool) for x in value)
    return tuple(map(float, _checked(key, value, fits, f"{len(default)} numbers in brackets")))


def _checked(key: str, value: Any, fits: bool, what: str) -> Any:
    if not fits:
        raise UsageError(f"`{key}` must be {what}, got {value!r}")
    return value
