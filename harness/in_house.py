"""Adversaries that the harness runs itself: they work on live messages, or on what others believe."""

from __future__ import annotations

from typing import Any

from harness import enumeration_rows, relay

__all__ = ["NAMES", "split"]

NAMES = (enumeration_rows.NAME, relay.NAME)


def split(attacks: Any) -> tuple[Any, tuple[str, ...]]:
    """The attacks without those that are no plug-ins, and which of these were asked for.

    Examples
    --------
    >>> split(["mimicry", "relay"]), split("all")
    ((['mimicry'], ('relay',)), ('all', ('enumeration', 'relay')))
    """
    if isinstance(attacks, str):
        if attacks == "all":
            return attacks, NAMES
        return ([], (attacks,)) if attacks in NAMES else (attacks, ())
    if not isinstance(attacks, list | tuple):
        return attacks, ()
    asked = [a for a in attacks if isinstance(a, str)]
    rest = [a for a in attacks if not (isinstance(a, str) and a in NAMES)]
    return rest, tuple(name for name in NAMES if name in asked)
