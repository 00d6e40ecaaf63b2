"""What a threat report is made of: sections of blocks, free of any output format."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

__all__ = [
    "Block",
    "Cell",
    "Code",
    "Document",
    "Facts",
    "Figure",
    "Items",
    "Paragraph",
    "Point",
    "Section",
    "Series",
    "SignOff",
    "Table",
]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table: its text, a quieter second line, and how it is meant."""

    text: str
    detail: str = ""
    tone: str = ""  # "", "alarm", "open", "calm"


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text; `tone` "notice" sets it apart, "scheme" opens what is said of one scheme."""

    text: str
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what is known about them, in order."""

    pairs: tuple[tuple[str, str], ...]
    key: str = ""


@dataclass(frozen=True, slots=True)
class Items:
    """A list; each entry has a name in front (may be empty) and a text."""

    entries: tuple[tuple[str, str], ...]
    key: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a caption; `key` lets a renderer find it, `heading` names what it is about.

    Rows of a `grouped` table whose first cells are equal follow each other and belong together.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    key: str = ""
    heading: str = ""
    grouped: bool = False

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(
                    f"a row of {self.caption!r} must have {len(self.columns)} cells, got {len(row)}"
                )


@dataclass(frozen=True, slots=True)
class Code:
    """Something to type or compare letter by letter."""

    text: str


@dataclass(frozen=True, slots=True)
class SignOff:
    """Blank lines that a reviewer fills in by hand."""

    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Point:
    """One mark of a figure: where it stands, its value, and its interval (None: open end)."""

    x: float
    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Series:
    """Marks that belong together; `flagged` if this adversary beat the promise."""

    label: str
    points: tuple[Point, ...]
    flagged: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure as data; `kind` is "flow", "odds", "people", "rank" or "leakage"."""

    kind: str
    key: str
    title: str
    description: str
    series: tuple[Series, ...] = ()
    key_bits: int | None = None


Block: TypeAlias = Paragraph | Facts | Items | Table | Code | SignOff | Figure


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered part of the report."""

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A threat report as data."""

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    findings: tuple[tuple[str, int], ...] | None = ()  # severity, count; gravest first; None: it has none
    files: str = "result.json"  # what beside the page holds all digits

    def section(self, key: str) -> Section:
        """The section named `key`.

        Raises
        ------
        KeyError
            If there is none; a document made by `document` has all of them.
        """
        for section in self.sections:
            if section.key == key:
                return section
        raise KeyError(key)

    def tables(self, key: str) -> list[Table]:
        """Every table named `key`, in order."""
        return [b for b in self._blocks() if isinstance(b, Table) and b.key == key]

    def _blocks(self) -> Iterable[Block]:
        for section in self.sections:
            yield from section.blocks
