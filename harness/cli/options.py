"""Options that commands share: what is audited, on whom, and how much of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

__all__ = ["audit_options", "complete_names"]

Command = TypeVar("Command", bound=Callable[..., Any])


def complete_names(kind: str) -> Callable[[Any, Any, str], list[CompletionItem]]:
    def complete(context: Any, parameter: Any, incomplete: str) -> list[CompletionItem]:
        from click.shell_completion import CompletionItem

        from harness.plugins import names

        known = [CompletionItem(n) for n in names(kind) if n.startswith(incomplete)]
        return [*known, CompletionItem(incomplete, type="file")]

    return complete


_OPTIONS = (
    click.option(
        "--attack",
        "attacks",
        multiple=True,
        metavar="NAME",
        shell_complete=complete_names("attack"),
        help="An attack by name or file.py:Name, or several joined by +; may be repeated. Default: all, "
        "and all of them together.",
    ),
    click.option(
        "--corpus",
        metavar="PATH|NAME",
        shell_complete=complete_names("corpus"),
        help="A manifest or its folder, or a simulated corpus by name. Default: cargo-bike, simulated.",
    ),
    click.option(
        "--subjects", type=click.IntRange(1), default=60, show_default=True, help="People, if simulated."
    ),
    click.option(
        "--sessions", type=click.IntRange(1), default=2, show_default=True, help="Sessions of each."
    ),
    click.option(
        "--attempts", type=click.IntRange(1), default=5, show_default=True, help="Attempts per session."
    ),
    click.option(
        "--seed", type=click.IntRange(0), default=0, show_default=True, help="Same seed, same bytes."
    ),
    click.option("--jobs", type=click.IntRange(1), default=1, show_default=True, help="Worker processes."),
    click.option(
        "--chunk", type=click.IntRange(1), help="Sessions per task; changes only time and memory."
    ),
)


def audit_options(command: Command) -> Command:
    """Attacks, corpus, its size, seed, workers: the options of every command that runs an audit."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
