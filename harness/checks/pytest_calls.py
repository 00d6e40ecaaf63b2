"""The checks of a plug-in as arguments of `pytest.mark.parametrize`.

@pytest.mark.parametrize("check", scheme_checks(MyScheme()), ids=str)
def test_contract(check):
    check()
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from harness.checks.registry import Check, checks_of
from harness.checks.running import Case, case_of, known_of, one_outcome
from harness.checks.search import HOW
from harness.errors import UsageError

__all__ = ["PytestCheck", "attack_checks", "scheme_checks"]


class PytestCheck:
    """One check of one plug-in: call it, and it returns, skips the test, or fails it in a sentence."""

    def __init__(self, check: Check, case: Case, known: str | None) -> None:
        self._check, self._case, self._known = check, case, known

    def __str__(self) -> str:
        return self._check.name

    def __call__(self) -> None:
        """Run it in a test.

        What does not apply, or lacks what it needs, skips the test; a known failure is an expected one, and
        fails the test once it no longer fails.
        """
        __tracebackhide__ = True
        pytest = _pytest()
        found = one_outcome(self._case, self._check, self._known)
        if found.status == "broken":
            pytest.fail(found.sentence, pytrace=False)
        if found.status == "known":
            pytest.xfail(found.sentence)
        if found.status != "held":
            pytest.skip(found.sentence)


def _pytest() -> Any:
    try:
        import pytest
    except ImportError as error:
        raise UsageError(HOW.replace("hypothesis", "pytest", 1)) from error
    return pytest


def scheme_checks(
    scheme: Any, *, corpus: Any = None, seed: int = 0, known: Mapping[str, str] | None = None
) -> list[PytestCheck]:
    """Every check of a scheme, for ``parametrize("check", scheme_checks(MyScheme()), ids=str)``.

    Parameters
    ----------
    scheme, corpus, seed, known
        As in `check_scheme`.

    Examples
    --------
    >>> from harness.checks import scheme_checks
    >>> from harness.plugins import resolve
    >>> str(scheme_checks(resolve("scheme", "interval-gray").value)[0])
    'members-there'
    """
    return _calls("scheme", scheme, known, corpus=corpus, seed=seed)


def attack_checks(
    attack: Any,
    *,
    scheme: Any = None,
    corpus: Any = None,
    seed: int = 0,
    known: Mapping[str, str] | None = None,
) -> list[PytestCheck]:
    """Every check of an attack; parameters as in `check_attack`."""
    return _calls("attack", attack, known, scheme=scheme, corpus=corpus, seed=seed)


def _calls(kind: str, plugin: Any, known: Mapping[str, str] | None, **options: Any) -> list[PytestCheck]:
    declared = known_of(kind, plugin, known)
    case = case_of(kind, plugin, **options)
    return [PytestCheck(check, case, declared.get(check.name)) for check in checks_of(kind)]
