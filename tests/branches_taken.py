"""Do tests take enough of the branches? ``python branches_taken.py COVERAGE.json PERCENT``.

The total that coverage reports counts lines and branches together, which flatters branches.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path


def main(file: str, least: str) -> int:
    totals = json.loads(Path(file).read_text(encoding="utf-8"))["totals"]
    taken, there = totals["covered_branches"], totals["num_branches"]
    print(f"{taken} of {there} branches taken, {100 * taken / there:.2f} %; {least} % are asked for")
    return 0 if 100 * taken >= float(least) * there else 1


if __name__ == "__main__":
    raise SystemExit(main(*sys.argv[1:]))
