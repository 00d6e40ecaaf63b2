"""Members, shapes, dtypes and ranges."""

from __future__ import annotations

from harness import validate
from harness.checks.handing import writeable
from harness.checks.outcomes import Breach, at, readable
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase
from harness.contracts import Capture
from harness.errors import ContractError
from harness.exchange import parts

__all__ = ["beginning"]


@check("scheme", "members-there")
def members_there(case: SchemeCase) -> None:
    """A scheme has a printable `name`, `key_bits` of at least 1, the `signal` it reads (a word, or one for
    each role), and the methods `witness`, `generate` and `reproduce`, or `witness` and `agree`;
    none of them raises when it is read.
    """
    readable(case.scheme)
    with at("the scheme"):
        validate.scheme_members(case.scheme)


@check("scheme", "witness-well-formed")
def witness_well_formed(case: SchemeCase) -> None:
    """`witness` returns a Witness with a row for each attempt: whole symbols below the alphabet (2 to 256),
    bool `acquired`, and `features`, if any, real and finite where acquired.
    """
    scheme = case.fresh()
    with at("witness()"):
        a, b = (case.sense(scheme, capture) for capture in case.both)
    if (a.symbols.shape[1], a.alphabet) != (b.symbols.shape[1], b.alphabet):
        raise Breach(
            "witness()",
            "symbols",
            f"alike for both devices, {a.symbols.shape[1]} of {a.alphabet}",
            f"{b.symbols.shape[1]} of {b.alphabet}",
        )


@check("scheme", "keys-well-formed")
def keys_well_formed(case: SchemeCase) -> None:
    """Keys are 0 and 1, (attempts, key_bits), and `accepted` is bool, one for each attempt; `generate`
    returns two things, `reproduce` two, `agree` four.
    """
    a, b = case.witnesses
    own, rows, name = case.fresh(), len(a.acquired), case.plugin
    if case.interactive:
        with at("agree()"):
            answer = case.ask("agree()", own.agree, writeable(a), writeable(b), rng=case.rng("generate"))
            keys, keys_b, accepted, _ = parts(name, "agree()", answer, 4)
            validate.key_bits(name, "keys of A", keys, rows, case.width)
            validate.key_bits(name, "keys of B", keys_b, rows, case.width)
            validate.accepted_flags(name, accepted, rows)
        return
    with at("generate()"):
        answer = case.ask("generate()", own.generate, writeable(a), rng=case.rng("generate"))
        keys, helper = parts(name, "generate()", answer, 2)
        validate.key_bits(name, "keys", keys, rows, case.width)
    with at("reproduce()"):
        keys_b, accepted = parts(
            name, "reproduce()", case.ask("reproduce()", own.reproduce, writeable(b), helper), 2
        )
        validate.key_bits(name, "keys", keys_b, rows, case.width)
        validate.accepted_flags(name, accepted, rows)


@check("scheme", "helper-well-formed")
def helper_well_formed(case: SchemeCase) -> None:
    """Helper data are a mapping of printable names to numeric arrays with a row for each attempt; the
    reserved name `aborted` is bool, (attempts,).
    """
    a, b = case.witnesses
    own, rows, name = case.fresh(), len(a.acquired), case.plugin
    if case.interactive:
        answer = case.ask("agree()", own.agree, writeable(a), writeable(b), rng=case.rng("generate"))
    else:
        answer = case.ask("generate()", own.generate, writeable(a), rng=case.rng("generate"))
    member = "agree()" if case.interactive else "generate()"
    with at(member):
        if isinstance(answer, tuple) and answer:  # how many there are is another promise
            validate.helper_data(name, answer[-1], rows)


@check("scheme", "one-layout")
def one_layout(case: SchemeCase) -> None:
    """The number of symbols, the alphabet, and names, shapes and kinds of the helper arrays are constant,
    whatever the capture and however long it is.
    """
    scheme, ordinary = case.fresh(), case.run
    m = ordinary.a.symbols.shape[1]
    longest = case.both[0].samples.shape[2]
    others = [
        case.captures(1)[0],
        *(beginning(case.both[0], n) for n in (1, longest // 2, longest - 1) if n),
    ]
    for capture in others:
        kind = f"a capture of {capture.samples.shape[2]} samples"
        try:
            found = case.sense(scheme, capture)
        except ContractError:  # that a short capture is no error is another promise
            continue
        if (found.symbols.shape[1], found.alphabet) != (m, ordinary.a.alphabet):
            raise Breach(
                "witness()",
                "symbols",
                f"{m} of {ordinary.a.alphabet} from every capture",
                f"{found.symbols.shape[1]} of {found.alphabet} from {kind}",
            )
        with at("agree()" if case.interactive else "generate()"):
            run = case.exchange(scheme, scheme, found, found, case.rng("layout"))
            validate.same_helper_layout(case.plugin, ordinary.published, run.published)


def beginning(capture: Capture, samples: int) -> Capture:
    """The beginning of a capture."""
    return Capture(
        samples=capture.samples[:, :, :samples],
        rate_hz=capture.rate_hz,
        signal=capture.signal,
        unit=capture.unit,
    )
