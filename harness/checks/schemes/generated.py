"""Captures, witnesses and helper data that nobody thought of."""

from __future__ import annotations

from typing import Any

import numpy as np

from harness.checks import edits
from harness.checks.alike import same_keys
from harness.checks.handing import plain, rows_of
from harness.checks.outcomes import Breach, NotApplicable, at
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase
from harness.checks.schemes.agreement import must_agree
from harness.checks.search import below, find, strategies
from harness.contracts import Witness

__all__: list[str] = []

EXAMPLES = 30
FEW = 8  # where every call is a process
SMALL_STEP = 64  # places of a witness that are chosen one by one


def _examples(case: SchemeCase) -> int:
    return FEW if case.by_processes else EXAMPLES


@check("scheme", "any-capture-answered")
def any_capture_answered(case: SchemeCase) -> None:
    """Whatever happens to a capture (gaps, spikes, lost contact, an early end), `witness` returns well-
    formed symbols, as many as ever, and the other attempts of the batch are read as before.
    """
    strategies()
    whole, ordinary = rows_of(case.both[0], np.arange(min(2, len(case.both[0].samples)))), case.witnesses[0]
    m, untouched = ordinary.symbols.shape[1], len(whole.samples) - 1

    def test(made: list[edits.Edit]) -> None:
        capture = edits.edited(whole, made)
        with edits.told(made), at("witness()"):
            found = case.sense(case.fresh(), capture)
        if found.symbols.shape[1] != m:
            got = f"{found.symbols.shape[1]} {edits.words(made)}"
            raise Breach("witness()", "symbols", f"{m} from every capture", got)
        if untouched and (found.symbols[untouched] != ordinary.symbols[untouched]).any():
            expected = "as before where only the other attempt changed"
            got = f"others {edits.words(made)} in row 0"
            raise Breach("witness()", "symbols", expected, got, row=untouched)

    # the last row is left alone, if there are two
    for made in edits.each(whole.samples.shape[2]):
        test(made)
    find(edits.strategy(whole.samples.shape[2]), test, seed=case.seed, examples=_examples(case))


def _mixed(case: SchemeCase, chosen: list[int]) -> Witness:
    """Two attempts whose symbols come from other attempts, place by place, with their features."""
    run = case.run
    pool = np.flatnonzero(run.a.acquired)
    m = run.a.symbols.shape[1]
    turn = np.resize(np.array(chosen, np.intp), (2, m)) % len(pool)
    rows, places = pool[turn], np.arange(m)
    features = run.a.features
    return Witness(
        symbols=run.a.symbols[rows, places],
        alphabet=run.a.alphabet,
        acquired=np.ones(2, bool),
        features=None if features is None else features[rows, places],
    )


def _free(case: SchemeCase, chosen: list[int]) -> Witness:
    """Two attempts with any symbols."""
    a = case.run.a
    symbols = np.resize(np.array(chosen), (2, a.symbols.shape[1])) % a.alphabet
    return Witness(symbols=symbols.astype(np.uint8), alphabet=a.alphabet, acquired=np.ones(2, bool))


def _chosen(case: SchemeCase, st: Any) -> Any:
    """Numbers that say what stands at each place of a witness; repeated if there are fewer than places."""
    most = max(2, case.run.a.alphabet)
    longest = min(SMALL_STEP, 2 * case.run.a.symbols.shape[1])
    return st.lists(below(most), min_size=1, max_size=longest)


@check("scheme", "any-witness-agrees")
def any_witness_agrees(case: SchemeCase) -> None:
    """Whatever the symbols of a witness are, A and B get well-formed keys of it, and the same one where A
    holds a key.
    """
    st = strategies()
    # features belong to their symbols: where there are any, both are taken over from real attempts
    witness = _free if case.run.a.features is None else _mixed

    def test(chosen: list[int]) -> None:
        a, own = witness(case, chosen), case.fresh()
        member = "agree()" if case.interactive else "generate()"
        shown = np.array2string(a.symbols[0], threshold=16, edgeitems=6)
        try:
            with at(member):
                run = case.exchange(own, own, a, a, case.rng("any"))
            rows = np.flatnonzero(run.established)
            must_agree(
                run,
                rows,
                member="agree()" if case.interactive else "reproduce()",
                when="where B has A's own witness",
            )
        except Breach as breach:
            got = f"{breach.got}, for symbols {shown}"
            place = breach.place
            raise Breach(place.member, place.field, breach.expected, got, row=place.row) from breach

    find(_chosen(case, st), test, seed=case.seed, examples=_examples(case))


@check("scheme", "helper-noise-stays-in-its-row")
def helper_noise_stays_in_its_row(case: SchemeCase) -> None:
    """Helper data of one attempt that arrive damaged change no other attempt's answer; B refuses them or
    answers in the usual form.
    """
    st = strategies()
    run, own = case.run, case.fresh()
    if not callable(getattr(own, "reproduce", None)):
        raise NotApplicable("the scheme has no `reproduce`")
    if not case.interactive:
        case.generate(own, run.a, case.rng("generate"))  # what it remembers of that is another promise
    names = [n for n, array in run.published.items() if array[0].size and array.dtype.kind in "biu"]
    if not names or len(run.keys) < 2:
        raise NotApplicable("there are no whole numbers in the helper data, or just one attempt")
    before = case.reproduce(own, run.b, plain(run.published))
    rest = np.arange(1, len(run.keys))

    def test(damage: tuple[int, list[int]]) -> None:
        name = names[damage[0] % len(names)]
        helper = plain(run.published)
        flat = helper[name].reshape(len(run.keys), -1)
        for place in damage[1]:
            # another value that was there before: of the array's own kind and range
            flat[0, place % flat.shape[1]] ^= flat.dtype.type(1)
        try:
            found = case.reproduce(own, run.b, helper)
        except Exception:  # noqa: BLE001 - a device may refuse; it accepts nothing then
            return
        when = f"when helper[{name!r}] of row 0 is damaged at {damage[1]}"
        same_keys(
            "reproduce()",
            (before[0][rest], before[1][rest]),
            (found[0][rest], found[1][rest]),
            when=when,
        )

    places = st.lists(below(256), min_size=1, max_size=8)
    find(st.tuples(below(8), places), test, seed=case.seed, examples=_examples(case))
