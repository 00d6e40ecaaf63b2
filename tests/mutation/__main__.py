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
from dataclasses import asdict, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mutation.mutants import LEFT_OUT, Mutable
from mutation.reach import QUIET, Reach, measure, steady
from mutation.report import Tried, page, summary
from mutation.swap import Order, Session
from mutation.trial import KILLED, SURVIVED, Bench, apart, scratch_copy

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
BUILD = ROOT / "build" / "mutation"
MODULES = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["mutmut"][
    "only_mutate"
]
SPEAK_OF = ("harness.estimators", "harness.score", "harness.ranking", "harness.gating", "gate_pipelines")
WHOLE = "commands comparing digests enumeration error_rates findings"
MORE = "information_order listing planted_changes pursuit weighing"
NOT_RUN = tuple(f"test_{name}.py" for words in (WHOLE, MORE) for name in words.split())
"""They run whole audits, which is slow: what only they would notice counts as not noticed."""
BUDGET = 40.0  # seconds of tests per mutant, lines traced, quick ones first
CONTROLS = 10  # trials in which nothing is changed, and as many with an error


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
    began, file = time.monotonic(), file.resolve()
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


def exchanged(copy: Path, out: Path, orders: list[Order], reach: Reach) -> dict[int, dict[str, Any]]:
    """What became of the changes inside functions, by number; what `out` holds is not tried again."""
    known = {json.loads(line)["number"] for line in out.read_text().splitlines()} if out.exists() else set()
    missing = [order for order in orders if order.number not in known]

    def work() -> int:
        steady()
        return int(
            pytest.main(
                ["-q", *QUIET, *tests_of(copy)],
                plugins=[Session(missing, reach.seconds, out)],
            )
        )

    apart(copy, ROOT, BUILD / "session.log", 3 * 3600.0, work, compiles=True)
    said = [json.loads(line) for line in out.read_text().splitlines()]
    if len(said) < len(orders):
        raise SystemExit(f"{len(orders)} changes must be tried, got {len(said)}: see session.log")
    return {s["number"]: s for s in said}


def imported(bench: Bench, mutable: Mutable, place: int, tests: list[str]) -> tuple[str, str]:
    """What became of a change that runs on import; an error there must be noticed, no change must not."""
    for text, must in ((mutable.text, SURVIVED), (f"{mutable.text}\nraise RuntimeError\n", KILLED)):
        found, _ = bench.outcome(mutable.path, text, tests[:1])
        if tests and found != must:
            raise SystemExit(f"{mutable.path}: a control must be {must}, got {found}: see {bench.log}")
    return bench.outcome(mutable.path, mutable.changed(place), tests)


def main() -> int:
    options = argparse.ArgumentParser(prog="mutation", description=__doc__)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--size", type=int, default=400)
    options.add_argument("--reach", type=Path, nargs="*", help="what earlier runs measured, last first")
    options.add_argument("--measure", nargs="*", help="only measure these files of tests")
    options.add_argument("--retry", type=Path, help="only what an earlier run, this file, did not kill")
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
    drawn = [everything[i] for i in rng.choice(len(everything), given.size, replace=False)]
    if given.retry:
        again = {tuple(r[k] for k in ("path", "was", "now")) for r in json.loads(given.retry.read_text())}
        drawn = [
            (m, place)
            for m, place in everything
            if any(path == m.path for path, _, _ in again)
            and (m.path, (u := m.mutant(place)).was, u.now) in again
        ]
    if not given.reach:
        given.reach = [BUILD / "reach.json"]
        reach_in(copy, tests_of(copy), given.reach[0])
    reach = Reach(given.reach, without=NOT_RUN)
    if reach.failed:
        raise SystemExit(f"the tests must pass before anything is changed, {reach.failed} failed")
    preload(reach.third)
    mutants = [m.mutant(place) for m, place in drawn]
    tests = [reach.tests(m.path, *m.lines, budget=BUDGET) for m in mutants]
    orders = [
        Order(i, m.path, m.function, mutable.changed(place), tuple(t))
        for i, ((mutable, place), m, t) in enumerate(zip(drawn, mutants, tests, strict=True))
        if m.function
    ]
    some = rng.choice(len(orders), min(CONTROLS, len(orders)), replace=False).tolist()
    texts = {m.path: m.text for m in mutables}
    same = [replace(orders[k], number=-1 - k, text=texts[orders[k].path]) for k in some]
    broken = [replace(orders[k], number=-10_001 - k, text="") for k in some]
    out = BUILD / f"session-{commit}-{given.seed}.jsonl"  # begun again, it goes on where it ended
    found = exchanged(copy, out, [*broken, *same, *orders], reach)
    for control, must in [*((c, KILLED) for c in broken), *((c, SURVIVED) for c in same)]:
        if control.tests and found[control.number]["outcome"] != must:
            raise SystemExit(f"{control.path} {control.function}: a control must be {must}")
    bench = Bench(ROOT, copy, reach.seconds)
    tried: list[Tried] = []
    for i, (mutable, place) in enumerate(drawn):
        if i in found:
            outcome, detail = found[i]["outcome"], found[i]["detail"]
        else:
            outcome, detail = imported(bench, mutable, place, tests[i])
        tried.append(Tried(mutants[i], outcome, detail, len(tests[i])))
    left = [asdict(t.mutant) | {"outcome": t.outcome} for t in tried if t.outcome != KILLED]
    (BUILD / f"left-{given.seed}.json").write_text(json.dumps(left, indent=1))
    print(summary(tried))
    facts = {
        "command": f"`make mutation SEED={given.seed} SIZE={given.size}`",
        "date": dt.datetime.now(dt.UTC).date().isoformat(),
        "commit": commit,
        "tool": f"operators of mutmut {version('mutmut')}, drawn and run by `tests/mutation`",
        "modules": f"{len(mutables)}: `{'`, `'.join(MODULES)}`",
        "mutants": str(len(everything)),
        "drawn": f"{len(tried)}, simple random, seed {given.seed}",
        "tests": f"{len(reach.seconds)}, of those that run the line the quickest, {BUDGET:g} s in all",
        "controls": f"{len(same)} times unchanged, all survived; {len(broken)} times broken, all noticed",
    }
    left_out = {kind: sum(m.left_out[kind] for m in mutables) for kind in LEFT_OUT}
    given.out.write_text(page(tried, facts, left_out, HERE / "survivors.toml"), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
