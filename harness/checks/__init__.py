"""The contract of plug-ins as checks that can be run: `check_scheme`, `check_attack`, and both for pytest.

A promise that no check names is no less a promise; what the checks find, an audit would stumble over, or
worse, not notice.
"""

from __future__ import annotations

from harness.checks.outcomes import STATUSES, Outcome, Place
from harness.checks.pytest_calls import PytestCheck, attack_checks, scheme_checks
from harness.checks.registry import Check, checks_of
from harness.checks.running import check_attack, check_scheme

__all__ = [
    "STATUSES",
    "Check",
    "Outcome",
    "Place",
    "PytestCheck",
    "attack_checks",
    "check_attack",
    "check_scheme",
    "checks_of",
    "scheme_checks",
]
