"""Device A and device B are two machines."""

from __future__ import annotations

import copy

import cloudpickle

from harness.checks.alike import same, same_helper, same_keys, same_witness
from harness.checks.apart import reproduced_apart
from harness.checks.handing import plain, read_only, stored
from harness.checks.outcomes import Breach, CouldNotRun, NotApplicable, at, raised
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase
from harness.errors import ContractError

__all__: list[str] = []


def _only_published(case: SchemeCase) -> None:
    if case.interactive:
        raise NotApplicable("the rounds of `agree` run on one object")


@check("scheme", "copies-agree")
def copies_agree(case: SchemeCase) -> None:
    """Separate copies of the scheme for A and B get what one object gets: nothing that `generate` remembers
    helps `reproduce`.
    """
    _only_published(case)
    run, device_b = case.run, case.fresh()
    with at("reproduce()"):
        found = case.reproduce(device_b, run.b, run.helper)
    same_keys(
        "reproduce()",
        (run.keys_b, run.accepted),
        found,
        when="from a copy that did not generate as from the one that did",
    )


@check("scheme", "fresh-process-agrees")
def fresh_process_agrees(case: SchemeCase) -> None:
    """Device B in a process of its own gets what it gets beside A: nothing that the class or the module
    remembers helps `reproduce`.
    """
    _only_published(case)
    run = case.run
    if case.parcel is None:
        raise CouldNotRun(
            f"the scheme cannot be sent to another process, see survives-pickling: {case.unsent}"
        )
    beside = case.reproduce(case.fresh(), run.b, stored(run.published))
    with at("reproduce()"):
        found = reproduced_apart(case.plugin, case.parcel, run.b, run.published)
    same_keys("reproduce()", beside, found, when="in a process of its own as beside A")


@check("scheme", "helper-suffices")
def helper_suffices(case: SchemeCase) -> None:
    """What B needs of A is in the numbers of the helper arrays: plain copies, arrays read from a file and
    read-only ones serve it as well.
    """
    _only_published(case)
    run, own = case.run, case.fresh()
    case.generate(own, run.a, case.rng("generate"))  # what it remembers of that is another promise
    for helper, what in (
        (plain(run.helper), "plain copies of the helper data"),
        (stored(run.published), "helper data from a file"),
        (read_only(run.published), "read-only helper data"),
    ):
        with at("reproduce()"):
            found = case.reproduce(own, run.b, helper)
        same_keys("reproduce()", (run.keys_b, run.accepted), found, when=f"with {what}")


@check("scheme", "survives-pickling")
def survives_pickling(case: SchemeCase) -> None:
    """A scheme can be copied and sent to another process, and is the same there: same witness, keys and
    helper data.
    """
    if case.parcel is None:
        raise Breach("the scheme", "", "one that can be pickled", case.unsent)
    if case.fresh() is case.scheme and not _unchanging(case.scheme):
        raise Breach("the scheme", "", "one that `copy.deepcopy` can copy", "one that it cannot")
    run, member = case.run, "agree()" if case.interactive else "generate()"
    # what both forget alike would go unseen between copies: the scheme itself is asked as well
    itself = case.exchange(case.scheme, case.scheme, run.a, run.b, case.rng("generate"))
    same_witness("witness()", case.sense(case.scheme, case.both[0]), run.a, when="after copying")
    same(member, "keys", itself.keys, run.keys, when="after copying")
    same_helper(member, itself.published, run.published, when="after copying")
    with at("the scheme"):
        try:
            sent = cloudpickle.loads(case.parcel)
        except (Exception, SystemExit) as error:  # a stranger's parts may raise anything
            expected = "one that comes out of a pickle"
            raise ContractError(case.plugin, "", expected, raised(error)) from error
    when = "after pickling"
    with at("witness()"):
        witness = case.sense(sent, case.both[0])
    same_witness("witness()", run.a, witness, when=when)
    with at(member):
        again = case.exchange(sent, sent, run.a, run.b, case.rng("generate"))
    same(member, "keys", run.keys, again.keys, when=when)
    same_helper(member, run.published, again.published, when=when)


def _unchanging(scheme: object) -> bool:
    """Says by itself that a copy of it is itself."""
    try:
        return hasattr(type(scheme), "__deepcopy__") and copy.deepcopy(scheme) is scheme
    except (Exception, SystemExit):  # noqa: BLE001 - a stranger's parts may raise anything
        return False
