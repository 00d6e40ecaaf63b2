"""Which tests run which lines, and how long they take."""

from __future__ import annotations

import itertools
import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest

QUIET = (
    "-p",
    "no:cacheprovider",
    "-p",
    "no:xdist",
    "-p",
    "no:keyassay",
    "-W",
    "ignore::pytest.PytestAssertRewriteWarning",
)


def steady() -> None:
    """Property tests try the same cases each time, remember nothing, and may be slow."""
    patient = list(hypothesis.HealthCheck)
    phases = [hypothesis.Phase.explicit, hypothesis.Phase.generate]  # the least example is not asked for
    profile = hypothesis.settings(
        database=None, derandomize=True, deadline=None, suppress_health_check=patient, phases=phases
    )
    hypothesis.settings.register_profile("mutation", profile)
    hypothesis.settings.load_profile("mutation")


class Watch:
    """A plug-in of pytest that names the running test to the line tracer."""

    def __init__(self, tracer: Any) -> None:
        self._tracer = tracer
        self.seconds: dict[str, float] = {}
        self.failed: list[str] = []

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        for name, module in list(sys.modules.items()):  # what is remembered would not be run again
            if name.startswith("harness"):
                for value in list(vars(module).values()):
                    getattr(value, "cache_clear", lambda: None)()
        began = time.perf_counter()
        self._tracer.switch_context(item.location[0])
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = time.perf_counter() - began
            self._tracer.switch_context("")

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        if "cache" not in item.path.read_text(encoding="utf-8"):  # else tests share results
            self._tracer.switch_context(item.nodeid)
        return (yield)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


def measure(tests: list[str], modules: list[str], out: Path) -> None:
    """Run all tests once, in this process and folder, and write who runs what."""
    import coverage

    steady()
    tracer = coverage.Coverage(
        data_file=None, include=[f"{Path.cwd()}/{m}" for m in modules], config_file=False
    )
    watch = Watch(tracer)
    tracer.start()
    status = pytest.main(["-q", *QUIET, *tests], plugins=[watch])
    tracer.stop()
    data = tracer.get_data()
    reach: dict[str, dict[str, list[str]]] = {}
    for module in modules:
        lines = data.contexts_by_lineno(str(Path.cwd() / module))
        reach[module] = {str(line): sorted(set(who) - {""}) for line, who in lines.items()}
    libraries = ("site-packages", "lib/python")
    third = [
        name
        for name, m in list(sys.modules.items())
        if any(part in str(getattr(m, "__file__", "")) for part in libraries)
    ]
    out.write_text(
        json.dumps(
            {
                "status": int(status),
                "failed": watch.failed,
                "seconds": watch.seconds,
                "reach": reach,
                "third": third,
            }
        )
    )


class Reach:
    """What was measured, for asking; of a file of tests measured twice the first counts."""

    def __init__(self, files: list[Path], *, without: tuple[str, ...]) -> None:
        self.seconds: dict[str, float] = {}
        self.third: list[str] = []
        self.failed: list[str] = []
        self._reach: list[dict[str, dict[str, list[str]]]] = []
        known: set[str] = set()
        for file in files:
            found = json.loads(file.read_text())
            fresh = {
                t: s
                for t, s in found["seconds"].items()
                if _file(t) not in known and not _file(t).endswith(without)
            }
            self.seconds |= fresh
            self.failed += [t for t in found["failed"] if t in fresh]
            self.third += found["third"]
            lines = {
                module: {line: [w for w in who if _file(w) not in known] for line, who in of.items()}
                for module, of in found["reach"].items()
            }
            self._reach.append(lines)
            known |= {_file(t) for t in found["seconds"]}

    def tests(self, path: str, first: int, last: int, *, budget: float) -> list[str]:
        """The tests that run one of the lines, quick ones first, as many as fit into `budget` seconds."""
        who: set[str] = set()
        for reach in self._reach:
            for line, names in reach.get(path, {}).items():
                if first <= int(line) <= last:
                    who.update(names)
        tests = [t for t in self.seconds if t in who or _file(t) in who]
        tests.sort(key=self.seconds.__getitem__)
        spent = itertools.accumulate(self.seconds[t] for t in tests)
        return [t for t, s in zip(tests, spent, strict=True) if s <= budget]


def _file(test: str) -> str:
    return test.partition("::")[0]
