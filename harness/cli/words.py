"""Words for a terminal."""

from __future__ import annotations

__all__ = ["line"]


def line(text: str) -> str:
    """One printable line: other people's words may hold line breaks and terminal commands."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in " ".join(text.split()))
