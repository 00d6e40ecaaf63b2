"""Mutants inside functions, put into a process in which everything is loaded and all tests are collected.

Only the code of the changed function is exchanged, so that whoever imported it has the change too. What was
computed while tests were collected, and other processes that a test starts, do not see the change: there a
mutant may survive that should not, never the other way round.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from mutation.trial import CRASHED, KILLED, LONGEST, PATIENCE, SURVIVED, TIMED_OUT, UNTESTED

WRONG_COPY = 71


@dataclass(frozen=True, slots=True)
class Order:
    """One change to be tried."""

    number: int
    path: str
    function: str  # qualified name
    text: str  # of the whole module; "" = a function that raises
    tests: tuple[str, ...]


def broken(*_: Any, **__: Any) -> Any:
    """What a function is exchanged for, to see that tests notice."""
    raise RuntimeError


class Session:
    """A plug-in of pytest that tries changes instead of running tests."""

    def __init__(self, orders: list[Order], seconds: dict[str, float], out: Path) -> None:
        self._orders, self._seconds, self._out = orders, seconds, out

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        with self._out.open("a", encoding="utf-8") as out:
            for order in self._orders:
                tests = [items[t] for t in order.tests if t in items]
                outcome, detail = self._outcome(order, tests)
                said = {"number": order.number, "outcome": outcome, "detail": detail, "tests": len(tests)}
                out.write(json.dumps(said) + "\n")
                out.flush()
        return True

    def _outcome(self, order: Order, tests: list[pytest.Item]) -> tuple[str, str]:
        if not tests:
            return UNTESTED, ""
        reader, writer = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.setsid()
            status = 70
            try:
                status = _try(order, tests, writer)
            finally:
                os._exit(status)
        os.close(writer)
        late = time.monotonic() + min(LONGEST, PATIENCE + 10 * sum(self._seconds[t.nodeid] for t in tests))
        ended, status = 0, 0
        while not ended and time.monotonic() < late:
            ended, status = os.waitpid(pid, os.WNOHANG)
            time.sleep(0.003)
        with suppress(ProcessLookupError):
            os.killpg(pid, signal.SIGKILL)
        if not ended:
            os.waitpid(pid, 0)
        with os.fdopen(reader) as pipe:
            detail = pipe.read()
        if not ended:
            return TIMED_OUT, ""
        if os.waitstatus_to_exitcode(status) == WRONG_COPY:
            raise SystemExit(f"{order.path} must be tested in the copy, and was loaded from elsewhere")
        code = os.waitstatus_to_exitcode(status)
        if code == 0:
            return SURVIVED, ""
        # a process that dies of anything but a test that failed proves nothing of the tests
        return (KILLED, detail) if code == 1 and detail else (CRASHED, f"exit status {code}")


def _try(order: Order, tests: list[pytest.Item], writer: int) -> int:
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    module = sys.modules[order.path.removesuffix(".py").replace("/", ".")]
    if not Path(str(module.__file__)).is_relative_to(Path.cwd()):
        os._exit(WRONG_COPY)
    code = broken.__code__ if not order.text else code_of(order.text, order.path, order.function)
    function_of(module, order.function).__code__ = code
    for name, other in list(sys.modules.items()):
        if name.startswith("harness"):
            for value in list(vars(other).values()):
                getattr(value, "cache_clear", lambda: None)()
    for item, following in zip(tests, [*tests[1:], None], strict=True):
        for report in runtestprotocol(item, nextitem=following, log=False):
            if report.failed:
                os.write(writer, f"{item.nodeid} {report.when}".encode())
                return 1
    return 0


def function_of(module: ModuleType, name: str) -> FunctionType:
    """The function of that qualified name."""
    owner: Any = module
    parts = name.split(".")
    for part in parts[:-1]:
        owner = vars(owner)[part]
    found = vars(owner)[parts[-1]]
    if isinstance(found, staticmethod | classmethod):
        found = found.__func__
    if not isinstance(found, FunctionType) or found.__module__ != module.__name__:
        raise LookupError(f"{module.__name__}.{name} must be a plain function, got {found!r}")
    return found


def code_of(text: str, path: str, name: str) -> CodeType:
    """The compiled code of one function of a module's text."""
    whole = compile(text, path, "exec", dont_inherit=True)
    for code in _codes(whole):
        if code.co_qualname == name:
            return code
    raise LookupError(f"{path} must hold the function {name}")


def _codes(code: CodeType) -> Iterator[CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield constant
            yield from _codes(constant)
