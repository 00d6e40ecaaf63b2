"""Measures every case and writes the table: ``python -m calibration [JOBS]`` in the folder of the tests."""

from __future__ import annotations

import sys
from pathlib import Path

from calibration.running import all_cases, measured, table

HEAD = """# Do the intervals cover, and do the tests keep their size?

Every interval and test on channels whose truth is known, each at least a thousand times on data of its own.
An interval should cover, and a test reject, as often as its nominal value says. "As said": inside the exact
binomial region around that value, at the level .01 for all rows together. "Conservative": on the safe side
of it, as the remark explains. "Falls short, as remarked": known to, and the remark says why and who is
told. Measured again by

    make calibration

"""


def main(jobs: int) -> int:
    outcomes = measured(all_cases(), jobs=jobs)
    text = HEAD + table(outcomes)
    Path(__file__).with_name("table.md").write_text(text, encoding="utf-8")
    short = [o for o in outcomes if o.verdict(len(outcomes)) == "FALLS SHORT"]
    for o in short:
        print(f"falls short: {o.case.name}, {o.case.channel}: {o.share:.3f} for {o.case.nominal:g}")
    print(f"{len(outcomes)} cases, {len(short)} fall short")
    return 1 if short else 0


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 2))
