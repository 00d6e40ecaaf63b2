"""Random streams: the one that is handed over, and no other."""

from __future__ import annotations

import numpy as np

from harness.checks.alike import same, same_helper, same_keys, same_witness
from harness.checks.handing import rows_of
from harness.checks.outcomes import Breach, NotApplicable
from harness.checks.registry import check
from harness.checks.scheme_case import Run, SchemeCase

__all__: list[str] = []

TIMES = 8  # attempts with one and the same witness


@check("scheme", "same-stream-same-output")
def same_stream_same_output(case: SchemeCase) -> None:
    """The same question gets the same answer: `witness` and `reproduce` draw nothing, `generate` and
    `agree` draw from `rng` alone.
    """
    run, capture = case.run, case.both[0]
    when = "when asked again"
    same_witness("witness()", run.a, case.sense(case.fresh(), capture), when=when)
    own = case.fresh()
    if case.interactive:
        again = case.agree(own, run.a, run.b, case.rng("generate"))
        same("agree()", "keys of A", run.keys, again.keys, when=when)
        same_keys("agree()", (run.keys_b, run.accepted), (again.keys_b, again.accepted), when=when)
        same_helper("agree()", run.published, again.published, when=when)
        return
    keys, helper = case.generate(own, run.a, case.rng("generate"))
    same("generate()", "keys", run.keys, keys, when="from the same stream")
    same_helper("generate()", run.published, helper, when="from the same stream")
    # both by the same object, as what others remember is another promise
    one, two = (case.reproduce(own, run.b, helper) for _ in range(2))
    same_keys("reproduce()", one, two, when=when)


@check("scheme", "coins-from-the-stream")
def coins_from_the_stream(case: SchemeCase) -> None:
    """Keys and helper data that differ between attempts with one and the same witness are drawn by coins;
    coins come from `rng`, so that another stream gives others.
    """
    one = _alike(case, "first")
    drawn = {
        name: array
        for name, array in {"keys": one.keys, **one.published}.items()
        if (array != array[:1]).any()
    }
    if not drawn:
        raise NotApplicable("equal witnesses get equal keys and helper data: no coins are drawn")
    two = _alike(case, "second")
    others = {"keys": two.keys, **two.published}
    for name, array in drawn.items():
        if np.array_equal(array, others[name]):
            raise Breach(
                "agree()" if case.interactive else "generate()",
                name,
                "other values from another stream, as attempts with equal witnesses differ",
                "the same values",
            )


def _alike(case: SchemeCase, name: str) -> Run:
    row = int(np.flatnonzero(case.run.a.acquired)[0])
    witness = rows_of(case.run.a, np.full(TIMES, row))
    own = case.fresh()
    return case.exchange(own, own, witness, witness, case.rng("coins", name))
