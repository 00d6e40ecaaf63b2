"""From what the user wrote to a plug-in: a registered name, `path/file.py:Name`, or `path/scheme.toml`.

Parameters may follow, as in ``envelope-trend:window_s=0.15,blocks=4`` and
``my_scheme.py:MyScheme:bits=64`` and ``my_scheme.toml:quantiser.window_s=0.15``.
"""

from __future__ import annotations

import ast
import difflib
import hashlib
import importlib.util
import inspect
import math
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from cloudpickle import register_pickle_by_value

from harness import validate
from harness.errors import UsageError

__all__ = [
    "Plugin",
    "composite",
    "file_of",
    "load",
    "names",
    "nearest",
    "ours",
    "parameters_of",
    "parsed",
    "resolve",
    "shown",
    "summary_of",
    "unchecked",
]

GROUPS = {
    "scheme": "keyassay.schemes",
    "attack": "keyassay.attacks",
    "corpus": "keyassay.corpora",
    "control": "keyassay.controls",
    "flaw": "keyassay.flaws",
    "scheme file": "keyassay.scheme-files",
}
_MEMBERS: Mapping[str, tuple[str, ...]] = {
    "scheme": ("witness",),
    "attack": ("believe",),
    "corpus": ("sittings", "block"),
}
_CHECK: Mapping[str, Callable[[Any], Any]] = {
    "scheme": validate.scheme_members,
    "attack": validate.attack_members,
    "corpus": validate.corpus_members,
}
_OWN = ("attacks", "schemes", "fixtures", "harness")


@dataclass(frozen=True, slots=True)
class Plugin:
    """A resolved plug-in and where it came from."""

    value: Any
    source: str  # "object", a registered name, or "file.py:Name"
    foreign: bool  # True: not part of this package


def names(kind: str) -> dict[str, EntryPoint]:
    """Registered plug-ins of a kind, by name, sorted."""
    return {e.name: e for e in sorted(entry_points(group=GROUPS[kind]), key=lambda e: e.name)}


def nearest(word: str, known: list[str]) -> str:
    """A hint that names the closest known word, or all of them."""
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f"did you mean {close[0]!r}?" if close else f"known: {', '.join(known) or 'none'}"


def resolve(kind: str, spec: Any, **defaults: Any) -> Plugin:
    """Turn `spec` into a plug-in of `kind`, and check its members.

    Parameters
    ----------
    kind : "scheme", "attack", "corpus", "control" or "flaw"
    spec : str or object
        An object is taken as it is; a string is a registered name or ``file.py[:Name]``, with
        ``:key=value,...`` behind it.
    **defaults
        Arguments for the class unless the spec sets them.

    Raises
    ------
    UsageError
        Unknown name, missing file or class, parameters that do not fit.
    ContractError
        Members missing or ill typed.
    """
    plugin = unchecked(kind, spec, **defaults)
    _checked(kind, plugin.value)
    return plugin


def unchecked(kind: str, spec: Any, **defaults: Any) -> Plugin:
    """The same, whether or not it has the members of its kind."""
    if not isinstance(spec, str):
        value = spec(**defaults) if inspect.isclass(spec) else spec
        return Plugin(value, "object", not _ours(value))
    target, arguments = parsed(spec)
    written = file_of(target)
    if written is not None:
        found: Any = _from_file(kind, *written)
        foreign = True
    else:
        known = names(kind)
        if target not in known:
            hint = nearest(target, list(known))
            raise UsageError(
                f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} must be a registered name or a "
                f"file.py:Name{', or a file.toml' if kind == 'scheme' else ''}, got {target!r}; {hint}"
            )
        found = known[target].load()
        foreign = known[target].module.partition(".")[0] not in _OWN
    value = _build(target, found, {**defaults, **arguments}, arguments)
    return Plugin(value, spec, foreign)


def file_of(spec: str) -> tuple[Path, str] | None:
    """The file that a plug-in is written in and what follows it; None for a registered name."""
    # a folder's name may hold ".py" too
    found = re.fullmatch(r"(.*?\.(?:py|toml))(?::(.*))?", spec, re.DOTALL)
    return (Path(found[1]), found[2] or "") if found else None


def _log_of(spec: str) -> tuple[Path, str] | None:
    """The log of exchanges that is meant and the parameters behind it; None if none is."""
    found = re.fullmatch(r"(.*?\.(?:npz|csv))(?::(.*))?", spec, re.DOTALL)
    return (Path(found[1]), found[2] or "") if found else None


def ours(kind: str, spec: str) -> bool:
    """Is this the name of a plug-in of this package? Known without importing anything."""
    entry = names(kind).get(parsed(spec)[0])
    return entry is not None and entry.module.partition(".")[0] in _OWN


def _ours(value: Any) -> bool:
    return type(value).__module__.partition(".")[0] in _OWN


def _checked(kind: str, value: Any) -> Any:
    if kind in _CHECK:
        return _CHECK[kind](value)
    return value


def parsed(spec: str) -> tuple[str, dict[str, Any]]:
    head, _, tail = spec.rpartition(":")
    if not head or "=" not in tail:
        return spec, {}
    arguments: dict[str, Any] = {}
    for item in _split(tail):
        key, equals, text = item.partition("=")
        if not equals or not all(part.isidentifier() for part in key.strip().split(".")):
            raise UsageError(f"parameters must read name=value,name=value, got {item!r} in {spec!r}")
        try:
            arguments[key.strip()] = ast.literal_eval(text.strip())
        except (ValueError, SyntaxError):
            arguments[key.strip()] = text.strip()
    return head, arguments


def _split(text: str) -> list[str]:
    """Split at the commas that stand outside parentheses."""
    parts, depth = [""], 0
    for letter in text:
        depth += (letter in "([") - (letter in ")]")
        if letter == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += letter
    return parts


def _build(target: str, found: Any, wanted: Mapping[str, Any], explicit: Mapping[str, Any]) -> Any:
    if not inspect.isclass(found) and not inspect.isfunction(found):
        if explicit:
            raise UsageError(f"{target} is a finished object and takes no parameters, got {list(explicit)}")
        return found
    accepted = inspect.signature(found).parameters
    free = any(p.kind is p.VAR_KEYWORD for p in accepted.values())
    for key in explicit:
        if key not in accepted and not free:
            raise UsageError(
                f"{target} has no parameter {key!r}; {nearest(key, [k for k in accepted if k != 'name'])}"
            )
    fitting = {k: v for k, v in wanted.items() if free or k in accepted}
    try:
        return found(**fitting)
    except (TypeError, ValueError) as error:
        raise UsageError(f"{target} cannot be made: {error}") from error
    except Exception as error:  # a stranger's constructor may raise anything
        raise UsageError(f"{target} cannot be made: {type(error).__name__}: {error}") from error


def load(path: Path) -> ModuleType:
    """Import a stranger's file under a name of its own; workers get it by value."""
    resolved = path.resolve()
    name = f"plugin_{resolved.stem}_{hashlib.sha256(str(resolved).encode()).hexdigest()[:8]}"
    if name in sys.modules:
        return sys.modules[name]
    spec = importlib.util.spec_from_file_location(name, resolved)
    if spec is None or spec.loader is None:
        raise UsageError(f"a plug-in file must be Python source, got {path}")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException as error:
        del sys.modules[name]
        if isinstance(error, Exception | SystemExit):
            raise UsageError(
                f"the plug-in file {path} must be importable, got {type(error).__name__}: {error}"
            ) from error
        raise
    register_pickle_by_value(module)
    return module


def _from_file(kind: str, path: Path, name: str) -> Any:
    if not path.is_file():
        raise UsageError(f"a plug-in file must exist, found none at {path}")
    if path.suffix == ".toml":
        return _from_toml(kind, path, name)
    module = load(path)
    if name:
        if not hasattr(module, name):
            mine = [k for k, v in vars(module).items() if _defined_in(module, v)]
            raise UsageError(f"{path} must define {name!r}, found none; {nearest(name, mine)}")
        return getattr(module, name)
    wanted = _MEMBERS[kind]
    candidates = [
        v for v in vars(module).values() if _defined_in(module, v) and all(hasattr(v, m) for m in wanted)
    ]
    if len(candidates) != 1:
        found = ", ".join(getattr(c, "__name__", type(c).__name__) for c in candidates) or "none"
        raise UsageError(
            f"{path} must hold exactly one {kind} (or be given as file.py:Name), found {found}"
        )
    return candidates[0]


def _from_toml(kind: str, path: Path, name: str) -> Any:
    """What makes the scheme that a TOML file describes."""
    if kind != "scheme" or name:
        wanted = f"hold one scheme, without a name behind it, got {name!r}" if name else "hold a scheme"
        raise UsageError(f"{path} must {wanted}{'' if name else f' and can be no {kind}'}")
    return names("scheme file")["toml"].load()(path)


def _defined_in(module: ModuleType, value: Any) -> bool:
    owner = value if inspect.isclass(value) else type(value)
    return getattr(owner, "__module__", None) == module.__name__ and not getattr(
        owner, "_is_protocol", False
    )


def composite(value: Any) -> bool:
    """Does it name its parameters itself, as in ``quantiser.window_s``, and take others by these names?"""
    told = getattr(value, "parameters", None)
    return not isinstance(value, type) and isinstance(told, Mapping) and hasattr(value, "with_parameters")


def parameters_of(value: Any) -> dict[str, Any]:
    """The parameters of a plug-in, JSON-ready, for the record of what was run.

    A scheme put together of parts says itself what they are: `parameters` and `with_parameters`.
    """
    if composite(value):
        return {name: _plain(given) for name, given in value.parameters.items()}
    if not is_dataclass(value) or isinstance(value, type):
        return {}
    return {f.name: _plain(getattr(value, f.name)) for f in fields(value) if f.repr}


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)  # JSON has no word for it
    if isinstance(value, str | int | float | bool) or value is None:
        return value
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, frozenset | set):
        return sorted(str(v) for v in value)
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return {"type": type(value).__name__, **parameters_of(value)}
    return type(value).__name__


def summary_of(value: Any) -> str:
    """What a plug-in says of itself, in a line: its `summary`, or the first line of its docstring."""
    kind = value if inspect.isclass(value) or inspect.isfunction(value) else type(value)
    own = getattr(value, "summary", None)
    text = own if isinstance(own, str) and own else inspect.getdoc(kind) or ""
    line = text.strip().partition("\n")[0]
    return line.encode("utf-8", "backslashreplace").decode("utf-8")


def shown(source: str) -> str:
    """A source without the folders of this machine, for results and messages."""
    written = file_of(source) or _log_of(source)
    if written is None:
        return source
    path, rest = written
    return f"{path.name}:{rest}" if rest else path.name
