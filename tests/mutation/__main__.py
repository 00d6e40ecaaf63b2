"""Draw mutants, run their tests, write the report: ``python -m mutation [--seed S] [--size N]``."""

from __future__ import annotations

import argparse
import datetime as dt
import importlib
import json
import os
import sys
import time
import tomllib
import warnings
from contextlib import suppress
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest

from mutation.mutants import LEFT_OUT, Mutable
from mutation.reach import Reach, measure
from mutation.report import Tried, page, summary
from mutation.trial import KILLED, QUIET, SURVIVED, Bench, apart, scratch_copy

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
BUILD = ROOT / "build" / "mutation"
MODULES = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["mutmut"][
    "only_mutate"
]
SPEAK_OF = ("harness.estimators", "harness.score", "harness.ranking", "harness.gating", "gate_pipelines")
NOT_RUN = ("test_commands.py", "test_error_rates.py")  # whole commands and pipelines, which are slow
BUDGET = 15.0  # seconds of tests per mutant, with lines traced; what is slower is not run
SHAMS = 20  # trials in which nothing is changed


def modules_of(root: Path) -> list[str]:
    files = [f for pattern in MODULES for f in root.glob(pattern) if f.name != "__init__.py"]
    return sorted(str(f.relative_to(root)) for f in files)


def tests_of(root: Path) -> list[str]:
    """Files of tests that speak of the modules themselves, and the examples in the modules."""
    files = [*(root / "tests/harness").rglob("test_*.py"), *(root / "tests/external").glob("test_*.py")]
    texts = {f: f.read_text(encoding="utf-8") for f in files if f.name not in NOT_RUN}
    found = [f for f, text in texts.items() if any(word in text for word in SPEAK_OF)]
    return [*sorted(str(f.relative_to(root)) for f in found), *modules_of(root)]


def reach_in(copy: Path, tests: list[str], file: Path) -> None:
    """Run all tests once, lines traced."""
    began = time.monotonic()
    modules = modules_of(copy)

    def work() -> int:
        measure(tests, modules, file)
        return 0

    if apart(copy, ROOT, BUILD / "reach.log", 3600.0, work) != 0:
        raise SystemExit(f"the tests must run before anything is changed: see {BUILD / 'reach.log'}")
    took = time.monotonic() - began
    print(f"{len(tests)} files of tests in {took:.0f} s", flush=True)


def preload(names: list[str]) -> None:
    """The libraries that the tests import, so that a trial need not."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name in names:
            with suppress(Exception):
                importlib.import_module(name)
    if "harness" in sys.modules:
        raise SystemExit("what is tested must not be loaded before it is changed")


def check_bench(bench: Bench, mutables: list[Mutable], reach: Reach) -> None:
    """What the tests import must be the changed copy: a module that raises must fail, in each module."""
    for mutable in mutables:
        some = reach.tests(mutable.path, 1, 10**6, budget=BUDGET)
        outcome, _ = bench.outcome(mutable.path, f"{mutable.text}\nraise RuntimeError\n", some[:1])
        if outcome != KILLED:
            raise SystemExit(f"{mutable.path}: an error must be noticed, got {outcome} by {some[:1]}")
    print(f"an error in each of {len(mutables)} modules was noticed", flush=True)


def main() -> int:
    options = argparse.ArgumentParser(prog="mutation", description=__doc__)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--size", type=int, default=400)
    options.add_argument("--reach", type=Path, nargs="*", help="what earlier runs measured, last first")
    options.add_argument("--measure", nargs="*", help="only measure these files of tests")
    options.add_argument("--retry", type=Path, help="only what an earlier run, this file, did not kill")
    options.add_argument("--part", default="0/1", help="i/n: every n-th mutant from the i-th")
    options.add_argument("--out", type=Path, default=HERE / "report.md")
    given = options.parse_args()
    BUILD.mkdir(parents=True, exist_ok=True)
    copy = BUILD / f"copy-{os.getpid()}"
    commit = scratch_copy(ROOT, copy)
    if given.measure:
        reach_in(copy, given.measure, given.reach[0])
        return 0
    mutables = [Mutable(copy, path) for path in modules_of(copy)]
    everything = [(m, place) for m in mutables for place in range(len(m.kept))]
    print(f"{len(everything)} mutants in {len(mutables)} modules", flush=True)
    rng = np.random.default_rng(given.seed)
    drawn = [everything[i] for i in sorted(rng.choice(len(everything), given.size, replace=False))]
    if given.retry:
        again = {tuple(r[k] for k in ("path", "was", "now")) for r in json.loads(given.retry.read_text())}
        drawn = [
            (m, place)
            for m, place in everything
            if any(path == m.path for path, _, _ in again)
            and (m.path, (u := m.mutant(place)).was, u.now) in again
        ]
    first, step = map(int, given.part.split("/"))
    drawn = drawn[first::step]
    if not given.reach:
        given.reach = [BUILD / "reach.json"]
        reach_in(copy, tests_of(copy), given.reach[0])
    reach = Reach(given.reach)
    if reach.failed:
        raise SystemExit(f"the tests must pass before anything is changed, {reach.failed} failed")
    preload(reach.third)
    bench = Bench(ROOT, copy, reach.seconds)
    collect = ["--collect-only", "-q", "-p", "no:cacheprovider", *QUIET, *tests_of(copy)]
    log = BUILD / "collect.log"
    apart(copy, ROOT, log, 600.0, lambda: int(pytest.main(collect)), compiles=True)  # compiled once
    check_bench(bench, mutables, reach)
    began = time.monotonic()
    tried: list[Tried] = []
    shams = set(rng.choice(len(drawn), min(SHAMS, len(drawn)), replace=False).tolist())
    for i, (mutable, place) in enumerate(drawn):
        mutant = mutable.mutant(place)
        tests = reach.tests(mutant.path, *mutant.lines, budget=BUDGET)
        if i in shams and tests and bench.outcome(mutant.path, mutable.text, tests)[0] != SURVIVED:
            raise SystemExit(f"{mutant.path}: nothing was changed, and yet a test failed: see {bench.log}")
        outcome, detail = bench.outcome(mutant.path, mutable.changed(place), tests)
        tried.append(Tried(mutant, outcome, detail, len(tests)))
        said = f"{mutant.path}:{mutant.lines[0]} {mutant.was}  =>  {mutant.now}"
        print(f"{i + 1} {time.monotonic() - began:.0f}s {outcome} ({len(tests)} tests) {said}", flush=True)
        left = [asdict(t.mutant) | {"outcome": t.outcome} for t in tried if t.outcome != KILLED]
        (BUILD / f"left-{given.seed}-{first}.json").write_text(json.dumps(left, indent=1))
    print(summary(tried))
    facts = {
        "command": f"`make mutation SEED={given.seed} SIZE={given.size}`",
        "date": dt.datetime.now(dt.UTC).date().isoformat(),
        "commit": commit,
        "tool": f"operators of mutmut {version('mutmut')}, drawn and run by `tests/mutation`",
        "modules": f"{len(mutables)}: `{'`, `'.join(MODULES)}`",
        "mutants": str(len(everything)),
        "drawn": f"{len(tried)}, simple random, seed {given.seed}",
        "tests": f"{len(reach.seconds)}, of which the quickest {BUDGET:g} s that run the line are run",
        "controls": f"nothing changed: all {len(shams)} survived; an error in each module: all noticed",
    }
    left_out = {kind: sum(m.left_out[kind] for m in mutables) for kind in LEFT_OUT}
    given.out.write_text(page(tried, facts, left_out, HERE / "survivors.toml"), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
