"""From `NAME=START:STOP:N` or `NAME=a,b,c` to variants of a scheme and a corpus."""

from __future__ import annotations

import ast
import inspect
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np

from harness import plugins
from harness.errors import ContractError, UsageError
from harness.recordings import lies_in_files
from harness.swept import Parameter

__all__ = ["MOST_POINTS", "parameters_varied", "takes", "variant"]

MOST_POINTS = 1000
_FIXED = {
    "scheme": frozenset({"name"}),
    "corpus": frozenset({"name", "seed", "subjects", "sessions", "attempts"}),
}
_FORM = "`--vary` must read NAME=START:STOP:N or NAME=a,b,c"
_BREAKS = frozenset(",:()[]")


@dataclass(frozen=True, slots=True)
class _Range:
    start: float
    stop: float
    points: int


def parameters_varied(vary: Any, *, scheme: Any, corpus: Any) -> list[Parameter]:
    """The parameters to vary, each found in the scheme or the corpus.

    Parameters
    ----------
    vary : str, sequence of str, or mapping
        ``NAME=START:STOP:N``, ``NAME=a,b,c``, or {NAME: values}; NAME may be ``scheme.NAME`` or
        ``corpus.NAME``.
    scheme, corpus : plug-ins
        Made, before variation.

    Returns
    -------
    list of Parameter
        One or two.

    Raises
    ------
    UsageError
        Ill-formed, unknown (with the nearest known), found in both, or more than two parameters; fewer than
        two values, a value twice, more than `MOST_POINTS` points.
    """
    wanted = _read(vary)
    if len(wanted) not in (1, 2):
        raise UsageError(f"a sweep must vary one or two parameters, got {len(wanted)}")
    holders = {"scheme": scheme, "corpus": corpus}
    found = [_parameter(label, values, holders) for label, values in wanted]
    if len({p.label for p in found}) < len(found):
        raise UsageError(f"each parameter must be varied once, got {found[0].label} twice")
    size = math.prod(len(p.values) for p in found)
    if size > MOST_POINTS:
        raise UsageError(f"a sweep must have at most {MOST_POINTS} points, got {size}: take fewer values")
    return found


def _read(vary: Any) -> list[tuple[str, _Range | tuple[Any, ...]]]:
    if isinstance(vary, Mapping):
        return [(str(k), _listed(str(k), v)) for k, v in vary.items()]
    return [_parsed(text) for text in ([vary] if isinstance(vary, str) else list(vary))]


def _listed(label: str, values: Any) -> _Range | tuple[Any, ...]:
    if isinstance(values, str):
        return _parsed(f"{label}={values}")[1]
    return tuple(v.item() if isinstance(v, np.generic) else v for v in values)


def _parsed(text: str) -> tuple[str, _Range | tuple[Any, ...]]:
    label, equals, right = text.partition("=")
    label, right = label.strip(), right.strip()
    if not equals or not right or not re.fullmatch(r"[^\W\d]\w*(\.[^\W\d]\w*)*", label):
        raise UsageError(f"{_FORM}, got {text!r}")
    if ":" in right:
        return label, _range(text, right.split(":"))
    values = re.split(r",(?![^(\[]*[)\]])", right)  # not at the commas inside parentheses
    if not all(v.strip() for v in values):
        raise UsageError(f"{_FORM}, got an empty value in {text!r}")
    return label, tuple(_literal(v.strip()) for v in values)


def _range(text: str, parts: list[str]) -> _Range:
    try:
        start, stop = float(parts[0]), float(parts[1])
        points = int(parts[2])
    except (ValueError, IndexError):
        raise UsageError(f"{_FORM}, with numbers and a whole N, got {text!r}") from None
    if len(parts) != 3 or not math.isfinite(start) or not math.isfinite(stop):
        raise UsageError(f"{_FORM}, with finite numbers, got {text!r}")
    if points < 2 or start == stop:
        raise UsageError(f"a range must have two points or more between different ends, got {text!r}")
    if points > MOST_POINTS:
        raise UsageError(f"a sweep must have at most {MOST_POINTS} points, got {points} in {text!r}")
    return _Range(start, stop, points)


def _literal(text: str) -> Any:
    try:
        return ast.literal_eval(text)
    except (ValueError, SyntaxError):
        return text


def takes(kind: str, value: Any) -> list[str]:
    """Names of the parameters of a plug-in that may be varied; a recorded corpus has none."""
    if kind == "corpus" and lies_in_files(value):
        return []
    if plugins.composite(value):
        names = list(value.parameters)
    elif is_dataclass(value):
        names = [f.name for f in fields(value) if f.init]
    else:
        names = [
            p.name
            for p in inspect.signature(type(value)).parameters.values()
            if p.kind in (p.POSITIONAL_OR_KEYWORD, p.KEYWORD_ONLY)
        ]
    return [n for n in names if n not in _FIXED[kind]]


def _parameter(label: str, values: _Range | tuple[Any, ...], holders: Mapping[str, Any]) -> Parameter:
    # a parameter's own name may have dots, as in quantiser.window_s
    kind, dot, name = label.partition(".")
    if kind not in holders:
        kind, dot, name = "", "", label
    have = {k: takes(k, v) for k, v in holders.items() if not dot or k == kind}
    owners = [k for k, names in have.items() if name in names]
    if len(owners) > 1:
        raise UsageError(
            f"both scheme and corpus have a parameter {name!r}: write scheme.{name} or corpus.{name}"
        )
    if not owners:
        where = " or ".join(f"the {k}" for k in have)
        known = [n for names in have.values() for n in names]
        raise UsageError(
            f"`--vary` must name a parameter of {where}, got {name!r}; {plugins.nearest(name, known)}"
        )
    holder = holders[owners[0]]
    now = holder.parameters[name] if plugins.composite(holder) else getattr(holder, name, None)
    whole = isinstance(now, int) and not isinstance(now, bool)
    spread = _spread(name, values, whole, now) if isinstance(values, _Range) else tuple(
        float(v) if isinstance(now, float) and isinstance(v, int) and not isinstance(v, bool) else v
        for v in values
    )  # fmt: skip
    if len(spread) < 2:
        raise UsageError(f"{name!r} must be given two values or more, got {len(spread)}")
    twice = [v for i, v in enumerate(spread) if v in spread[:i]]
    if twice:
        raise UsageError(f"each value of {name!r} must be given once, got {twice[0]!r} twice")
    return Parameter(of=owners[0], name=name, values=spread)


def _spread(name: str, wanted: _Range, whole: bool, now: Any) -> tuple[Any, ...]:
    if not whole and not isinstance(now, float):
        raise UsageError(f"{name!r} is no number and must be varied by a list, as in {name}=a,b,c")
    steps = np.linspace(wanted.start, wanted.stop, wanted.points)
    if not whole:
        return tuple(float(v) for v in steps)
    rounded = tuple(int(v) for v in np.rint(steps))
    if len(set(rounded)) < len(rounded):
        most = int(abs(wanted.stop - wanted.start)) + 1
        raise UsageError(
            f"{name!r} takes whole numbers: between {wanted.start:g} and {wanted.stop:g} there are {most}, "
            f"got N = {wanted.points}"
        )
    return rounded


def variant(kind: str, spec: Any, settings: Mapping[str, Any], **defaults: Any) -> Any:
    """A scheme or corpus with other parameters, in the form that `harness.audit` takes.

    A name stays a name with parameters behind it, so that a stranger's file keeps its own source.

    Raises
    ------
    UsageError, ContractError
        If the plug-in refuses the parameters; says why.
    """
    if not settings:
        return spec
    made: Any
    if isinstance(spec, str):
        for value in settings.values():
            if isinstance(value, str) and _BREAKS & set(value):
                raise UsageError(f"a value in words must be free of , : ( ) [ ], got {value!r}")
        head, _, tail = spec.rpartition(":")
        told = ",".join(f"{k}={v!r}" for k, v in settings.items())
        made = f"{spec}{',' if head and '=' in tail else ':'}{told}"
    elif inspect.isclass(spec):
        made = _made(spec, {**{k: v for k, v in defaults.items() if k in _accepted(spec)}, **settings})
    elif plugins.composite(spec):
        made = _made(spec.with_parameters, settings)
    elif is_dataclass(spec) and not isinstance(spec, type):
        made = _made(lambda **changed: replace(spec, **changed), settings)
    else:
        raise UsageError(
            f"a {kind} that is varied must be a name, file.py:Name, class or dataclass, "
            f"got an object of {type(spec).__name__}"
        )
    try:
        plugins.resolve(kind, made, **defaults)
    except (UsageError, ContractError):
        raise
    except Exception as error:  # a stranger's members may raise anything
        raise UsageError(f"it cannot be made: {type(error).__name__}: {error}") from error
    return made


def _accepted(kind: Any) -> Mapping[str, Any]:
    return inspect.signature(kind).parameters


def _made(make: Any, settings: Mapping[str, Any]) -> Any:
    try:
        return make(**settings)
    except Exception as error:  # a stranger's constructor may raise anything
        raise UsageError(f"it cannot be made: {type(error).__name__}: {error}") from error
