"""Every small change that could be made to the modules, and which kinds of them are left out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import libcst as cst
from libcst.metadata import MetadataWrapper, ParentNodeProvider, PositionProvider
from mutmut.mutation.file_mutation import create_mutations

LEFT_OUT = {
    "in a raise": "what an error says; whether it is raised is up to the condition before it",
    "prose": "literals with a space in them: sentences for people, of which no number depends",
    "__all__": "names that a star import would take",
    "zip strict": "`strict=` of zip: an assertion about the lines above it, which no input can trip",
}
"""Kinds that are not drawn, decided before the first sample. The tool itself changes nothing in docstrings,
annotations, decorators and decorated functions, nor calls of `len` and `isinstance`."""

_Statement = cst.SimpleStatementLine | cst.BaseCompoundStatement


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change."""

    path: str  # of the module, from the root
    place: int  # among the module's kept changes
    lines: tuple[int, int]  # whoever runs one of these may notice; (1, end) for what runs on import
    where: str  # function or class
    function: str  # the outermost function whose body holds it, qualified; "" = runs on import
    was: str
    now: str


class Mutable:
    """A module and the changes that can be made to it."""

    def __init__(self, root: Path, path: str) -> None:
        self.path = path
        self.text = (root / path).read_text(encoding="utf-8")
        self._module, found, _, _ = create_mutations(path, self.text)
        wrapper = MetadataWrapper(self._module, unsafe_skip_copy=True)
        self._position: Any = wrapper.resolve(PositionProvider)
        self._parent: Any = wrapper.resolve(ParentNodeProvider)
        self.left_out = dict.fromkeys(LEFT_OUT, 0)
        self.kept = []
        self._made: dict[int, str] = {}
        for mutation in found:
            kind = self._kind(mutation.original_node, mutation.mutated_node)
            if kind:
                self.left_out[kind] += 1
            else:
                self.kept.append(mutation)

    def changed(self, place: int) -> str:
        """The module's text with one change made."""
        if place not in self._made:
            mutation = self.kept[place]
            module: Any = self._module.deep_replace(mutation.original_node, mutation.mutated_node)
            self._made[place] = str(module.code)
        return self._made[place]

    def mutant(self, place: int) -> Mutant:
        above = self._above(self.kept[place].original_node)
        named = [n for n in reversed(above) if isinstance(n, cst.FunctionDef | cst.ClassDef)]
        names = [n.name.value for n in named]
        inside = any(n is f.body for f in named if isinstance(f, cst.FunctionDef) for n in above)
        depth = next((i for i, n in enumerate(named) if isinstance(n, cst.FunctionDef)), 0)
        function = ".".join(names[: depth + 1]) if inside else ""
        was, now = _difference(self.text, self.changed(place))
        return Mutant(self.path, place, self._lines(above), ".".join(names), function, was, now)

    def _above(self, node: cst.CSTNode) -> list[cst.CSTNode]:
        """The node and what holds it, up to the module."""
        found = [node]
        while found[-1] in self._parent:
            found.append(self._parent[found[-1]])
        return found

    def _lines(self, above: list[cst.CSTNode]) -> tuple[int, int]:
        whole = (1, self.text.count("\n") + 1)
        functions = [n for n in above if isinstance(n, cst.FunctionDef)]
        if not functions:
            return whole
        statement = next(n for n in above if isinstance(n, _Statement))
        span = self._position[statement]
        if statement is functions[-1]:  # its defaults
            return int(span.start.line), int(span.end.line)
        placed = next(n for n in above if n in self._position)
        return int(span.start.line), int(self._position[placed].end.line)

    def _kind(self, node: Any, new: Any) -> str | None:
        above = self._above(node)
        if any(isinstance(n, cst.Raise) for n in above):
            return "in a raise"
        if isinstance(node, cst.SimpleString) and " " in str(node.evaluated_value):
            return "prose"
        for n in above:
            if isinstance(n, cst.Assign) and getattr(n.targets[0].target, "value", "") == "__all__":
                return "__all__"
            if isinstance(n, cst.Arg) and n.keyword is not None and n.keyword.value == "strict":
                return "zip strict"
        if isinstance(node, cst.Call) and isinstance(new, cst.Call):
            others = [[a for a in c.args if not _strict(a)] for c in (node, new)]
            if any(map(_strict, node.args)) and list(map(id, others[0])) == list(map(id, others[1])):
                return "zip strict"
        return None


def _strict(argument: cst.Arg) -> bool:
    return argument.keyword is not None and argument.keyword.value == "strict"


def _difference(old: str, new: str) -> tuple[str, str]:
    """The lines that differ, without those that are the same at either end."""
    was, now = old.splitlines(), new.splitlines()
    while was and now and was[0] == now[0]:
        was, now = was[1:], now[1:]
    while was and now and was[-1] == now[-1]:
        was, now = was[:-1], now[:-1]
    return " ".join(map(str.strip, was)), " ".join(map(str.strip, now))
