"""What a check finds: an outcome, or one of three ways to stop early."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from harness.errors import ContractError

__all__ = [
    "STATUSES",
    "Breach",
    "CouldNotRun",
    "NotApplicable",
    "Outcome",
    "Place",
    "at",
    "name_of",
    "needed",
    "raised",
    "readable",
    "short",
]

STATUSES = ("held", "broken", "known", "not-applicable", "could-not-run")
LONGEST = 160  # characters of what came: a message must be read, not scrolled


def short(value: object) -> str:
    """One line of at most LONGEST characters."""
    text = " ".join(str(value).split())
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "..."


def raised(error: BaseException) -> str:
    """What a plug-in raised, in one line; its own words may fail, too."""
    kind = type(error).__name__
    try:
        return short(f"{kind}: {error}")
    except (Exception, SystemExit):  # noqa: BLE001 - a stranger's parts may raise anything
        return kind


def name_of(plugin: object) -> str:
    """What a plug-in is called; its class's name if it does not say."""
    try:
        return str(getattr(plugin, "name", type(plugin).__name__))
    except (Exception, SystemExit):  # noqa: BLE001 - that it does not say is a check
        return type(plugin).__name__


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a promise was broken."""

    member: str  # "witness()"
    field: str = ""  # "symbols"
    row: int | None = None  # the attempt, where one can be named

    def __str__(self) -> str:
        parts = [self.member]
        if self.field:
            parts.append(f"`{self.field}`")
        if self.row is not None:
            parts.append(f"row {self.row}")
        return ", ".join(parts)


class Breach(Exception):
    """A promise is broken: where, what it asks for, and what came."""

    def __init__(
        self, member: str, field: str, expected: str, got: object, *, row: int | None = None
    ) -> None:
        super().__init__(member, field, expected, got)
        self.place = Place(member=member, field=field, row=row)
        self.expected, self.got = expected, short(got)


def readable(plugin: object) -> None:
    """Raise a Breach where a member that every run reads raises."""
    for member in ("name", "known_failures"):
        try:
            getattr(plugin, member, None)
        except (Exception, SystemExit) as error:  # a stranger's parts may raise anything
            raise Breach("the plug-in", member, "a member that can be read", raised(error)) from error


@contextmanager
def at(member: str) -> Iterator[None]:
    """Turns what the harness refuses into a breach at a member."""
    try:
        yield
    except ContractError as error:
        field = "" if error.field == member else error.field
        raise Breach(member, field, error.expected, error.got) from error


class NotApplicable(Exception):
    """The plug-in makes no such promise; the message says why."""


class CouldNotRun(Exception):
    """What the check needs is not there; the message says what, and what to do."""


class needed:
    """Turns the failure of an ordinary run into a word on which check it belongs to."""

    def __init__(self, owner: str) -> None:
        self.owner = owner

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, ContractError):
            raise CouldNotRun(f"an ordinary run fails, see {self.owner}") from error


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one check of one plug-in."""

    check: str
    promise: str
    plugin: str
    status: str  # one of STATUSES
    where: Place | None = None  # broken, or known: what is broken
    expected: str = ""
    got: str = ""
    reason: str = ""  # why it is known, not applicable, or could not run

    @property
    def sentence(self) -> str:
        """What came of it, in a sentence."""
        if self.where is not None:
            found = f"at {self.where}: expected {self.expected}, got {self.got}"
            known = f"; known: {self.reason}" if self.status == "known" else ""
            return f"{self.plugin} breaks {self.check} ({self.promise}) {found}{known}"
        if self.status == "held":
            return f"{self.plugin} keeps {self.check}"
        return f"{self.check} {self.status.replace('-', ' ')}: {self.reason}"

    def facts(self) -> dict[str, Any]:
        """JSON-ready."""
        place = self.where
        return {
            "check": self.check,
            "promise": self.promise,
            "status": self.status,
            "where": None
            if place is None
            else {"member": place.member, "field": place.field, "row": place.row},
            "expected": self.expected,
            "got": self.got,
            "reason": self.reason,
        }
