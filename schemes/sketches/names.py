"""Sketches by name."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from types import MappingProxyType

from schemes.codes import Code
from schemes.codes import code as code_named
from schemes.sketches.code_offset import CodeOffset
from schemes.sketches.contract import Sketch
from schemes.sketches.set_difference import set_difference
from schemes.sketches.syndrome import SyndromeSketch

__all__ = ["SKETCHES", "sketch_named"]

SKETCHES: Mapping[str, Callable[..., Sketch]] = MappingProxyType(
    {"code-offset": CodeOffset, "syndrome": SyndromeSketch, "set-difference": set_difference}
)


def sketch_named(name: str, code: str | Code) -> Sketch:
    """Return the sketch called `name` over `code`, itself a name or an object.

    Raises
    ------
    ValueError
        If either is unknown, where the message gives the nearest name, or they do not fit.
    """
    if name not in SKETCHES:
        near = difflib.get_close_matches(name, SKETCHES, n=1, cutoff=0)[0]
        raise ValueError(
            f"`sketch` must be one of {', '.join(SKETCHES)}, got {name!r}; the nearest is {near!r}"
        )
    return SKETCHES[name](code=code_named(code) if isinstance(code, str) else code)
