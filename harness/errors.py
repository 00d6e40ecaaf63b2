"""The three ways in which a run can be told that something is wrong.

A caller's bad argument is a plain `ValueError`; these are for broken promises of a
plug-in, for damaged data, and for data that are sound but too few.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from harness.contracts import Estimate

__all__ = ["ContractError", "CorpusError", "InsufficientData", "UsageError"]


class UsageError(ValueError):
    """The user asked for something that cannot be had; one sentence says what and what to do."""


class ContractError(Exception):
    """A plug-in broke its promise.

    Parameters
    ----------
    plugin, field : str
        Who broke it, and where.
    expected, got : str
        What the contract asks for, and what came.
    """

    def __init__(self, plugin: str, field: str, expected: str, got: str) -> None:
        super().__init__(plugin, field, expected, got)
        self.plugin, self.field, self.expected, self.got = plugin, field, expected, got

    def __str__(self) -> str:
        text = f"{self.plugin}: `{self.field}` must be {self.expected}, got {self.got}"
        # a stranger's words may hold what no file can: they must not keep a report from being written
        return text.encode("utf-8", "backslashreplace").decode("utf-8")


class CorpusError(Exception):
    """Recordings or their manifest are damaged; the message names file, row and column."""


class InsufficientData(Exception):
    """Too little data for what was asked.

    Parameters
    ----------
    message : str
        What would be needed.
    partial : Estimate, optional
        What could be computed all the same.
    """

    def __init__(self, message: str, partial: Estimate | None = None) -> None:
        super().__init__(message)
        self.partial = partial
