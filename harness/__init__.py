"""keyassay: how much of a body-derived key can an adversary get?"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from harness.auditing import audit
    from harness.checks import check_attack, check_scheme
    from harness.comparing import compare
    from harness.gating import gate
    from harness.sweeping import sweep

__all__ = ["audit", "check_attack", "check_scheme", "compare", "gate", "sweep"]

_HOMES = {
    "audit": "auditing",
    "check_attack": "checks",
    "check_scheme": "checks",
    "compare": "comparing",
    "gate": "gating",
    "sweep": "sweeping",
}


def __getattr__(name: str) -> Any:
    # imported on first use, so that `keyassay --help` does not load numerical libraries
    if name in _HOMES:
        return getattr(import_module(f"harness.{_HOMES[name]}"), name)
    raise AttributeError(f"module 'harness' has no attribute {name!r}")
