"""keyassay: how much of a body-derived key can an adversary get?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from harness.auditing import audit

__all__ = ["audit"]


def __getattr__(name: str) -> Any:
    # imported on first use, so that `keyassay --help` does not load numerical libraries
    if name == "audit":
        from harness.auditing import audit

        return audit
    raise AttributeError(f"module 'harness' has no attribute {name!r}")
