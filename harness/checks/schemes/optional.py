"""Optional parts of a scheme hold what they promise: times, check values, help, sharper beliefs."""

from __future__ import annotations

import numpy as np

from harness import validate
from harness.checks.alike import same
from harness.checks.handing import plain, rows_of, writeable
from harness.checks.outcomes import Breach, CouldNotRun, at
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase, attempts_with
from harness.checks.schemes.sensing import like
from harness.contracts import Array, Belief, Capture, Helper
from harness.exchange import seconds_of

__all__: list[str] = []


@check("scheme", "sensing-time-sound")
def sensing_time_sound(case: SchemeCase) -> None:
    """`sensing_seconds` is finite, at least 0, and no longer than the capture where that is acquired."""
    case.has("sensing_seconds")
    capture, acquired = case.both[0], case.witnesses[0].acquired
    used = _seconds(case, capture)
    whole = seconds_of(capture)
    longer = np.flatnonzero(acquired & (used > whole + 1e-6))
    if len(longer):
        row = int(longer[0])
        expected = f"at most {whole[row]:.6g} s, the capture"
        raise Breach("sensing_seconds()", "seconds", expected, f"{used[row]:.6g} s", row=row)


def _seconds(case: SchemeCase, capture: Capture) -> Array:
    with at("sensing_seconds()"):
        answer = case.ask("seconds", case.fresh().sensing_seconds, writeable(capture))
        return validate.seconds(case.plugin, "seconds", answer, len(capture.samples))


@check("scheme", "sensing-time-suffices")
def sensing_time_suffices(case: SchemeCase) -> None:
    """A capture that ends after `sensing_seconds` is acquired: so much of it is all that is needed."""
    case.has("sensing_seconds")
    capture, a = case.both[0], case.witnesses[0]
    used = _seconds(case, capture)
    with at("witness()"):
        found = case.sense(case.fresh(), _ended(capture, used))
    lost = np.flatnonzero(a.acquired & ~found.acquired)
    if len(lost):
        row = int(lost[0])
        what = f"True from the first {used[row]:.6g} s, which `sensing_seconds` says suffice"
        raise Breach("witness()", "acquired", what, "False", row=row)


def _ended(capture: Capture, used: Array) -> Capture:
    """The capture with NaN behind these seconds."""
    samples = np.array(capture.samples)
    if capture.rate_hz is None:
        # an event series: an event is over once the intervals up to it have passed
        before = np.nancumsum(samples[:, 0], axis=1)
        late = before > used[:, None] + 1e-6
    else:
        count = np.ceil(used * capture.rate_hz - 1e-6)
        late = np.arange(samples.shape[2]) >= count[:, None]
    samples[np.broadcast_to(late[:, None], samples.shape)] = np.nan
    return like(capture, samples)


@check("scheme", "sensing-time-rows-stand-alone")
def sensing_time_rows_stand_alone(case: SchemeCase) -> None:
    """Row i of `sensing_seconds` depends on row i of the capture alone."""
    case.has("sensing_seconds")
    capture = case.both[0]
    if len(capture.samples) < 2:
        raise CouldNotRun("one attempt is no batch: give a corpus with sessions of several")
    whole = _seconds(case, capture)
    for row in range(len(capture.samples)):
        alone = np.array([row])
        found = _seconds(case, rows_of(capture, alone))
        same("sensing_seconds()", "seconds", whole[alone], found, when="alone as in a batch")


@check("scheme", "check-values-true")
def check_values_true(case: SchemeCase) -> None:
    """`segments` names for every key bit the check that covers it (-1: none); A's key passes every check,
    and the answer of one check depends on no bit of another, and on no other attempt.
    """
    case.has("segments", "confirm")
    run, rows = case.run, attempts_with(case, lambda run: run.established)
    segments = np.asarray(case.fresh().segments)
    if segments.shape != (case.width,) or segments.dtype.kind not in "iu" or segments.min() < -1:
        got = f"{segments.dtype} of shape {segments.shape}"
        raise Breach("segments", "", f"whole numbers of at least -1, shape ({case.width},)", got)
    said = _confirmed(case, run.keys, run.published)
    if said.shape[1] <= segments.max():
        expected = f"at least {segments.max() + 1} checks, as `segments` says"
        raise Breach("confirm()", "", expected, f"{said.shape[1]} checks")
    failed = np.argwhere(~said[rows])
    if len(failed):
        raise Breach(
            "confirm()",
            f"check {failed[0, 1]}",
            "True for A's own key",
            "False",
            row=int(rows[failed[0, 0]]),
        )
    keys = np.array(run.keys)
    for number in np.unique(segments[segments >= 0]).tolist():
        others = segments != number
        turned = np.where(others, keys ^ 1, keys).astype(np.uint8)
        found = _confirmed(case, turned, run.published)[:, number]
        when = "whatever the bits of other checks are"
        same("confirm()", f"check {number}", said[:, number], found, when=when)
    alone = _confirmed(case, keys[:1], rows_of(run.published, np.array([0])))
    same("confirm()", "", said[:1], alone, when="alone as in a batch")


def _confirmed(case: SchemeCase, keys: Array, helper: Helper) -> Array:
    with at("confirm()"):
        said = case.ask("confirm()", case.fresh().confirm, np.array(keys), plain(helper))
    if not isinstance(said, np.ndarray) or said.ndim != 2 or len(said) != len(keys) or said.dtype != bool:
        got = f"{getattr(said, 'dtype', type(said).__name__)} of shape {getattr(said, 'shape', '')}"
        raise Breach("confirm()", "", f"bool of shape ({len(keys)}, checks)", got)
    return said


@check("scheme", "help-keeps-the-witness")
def help_keeps_the_witness(case: SchemeCase) -> None:
    """`assisted` returns a whole witness, the m symbols of the same alphabet; A's own stays as it is, and
    each row depends on itself alone.
    """
    case.has("assisted")
    run = case.run
    with at("assisted()"):
        answer = case.ask("assisted()", case.fresh().assisted, writeable(run.b), writeable(run.published))
        read = validate.witness(case.plugin, answer, len(run.keys))
    if (read.symbols.shape, read.alphabet) != (run.b.symbols.shape, run.b.alphabet):
        expected = f"{run.b.symbols.shape[1]} of {run.b.alphabet}, as they came"
        raise Breach("assisted()", "symbols", expected, f"{read.symbols.shape[1]} of {read.alphabet}")
    established = attempts_with(case, lambda run: run.established)
    with at("assisted()"):
        own = case.ask("assisted()", case.fresh().assisted, writeable(run.a), writeable(run.published))
        own = validate.witness(case.plugin, own, len(run.keys))
    changed = (own.symbols != run.a.symbols)[established]
    if changed.any():
        row = int(established[changed.any(axis=1).argmax()])
        place = int(changed.any(axis=0).argmax())
        expected = f"A's own, {run.a.symbols[row, place]} at {place}"
        raise Breach("assisted()", "symbols", expected, int(own.symbols[row, place]), row=row)
    for row in range(len(run.keys)):
        alone = np.array([row])
        with at("assisted()"):
            one = case.ask(
                "assisted()",
                case.fresh().assisted,
                writeable(rows_of(run.b, alone)),
                writeable(rows_of(run.published, alone)),
            )
            one = validate.witness(case.plugin, one, 1)
        same("assisted()", "symbols", read.symbols[alone], one.symbols, when="alone as in a batch")


@check("scheme", "sharper-beliefs-normalised")
def sharper_beliefs_normalised(case: SchemeCase) -> None:
    """`sharpen` returns beliefs of the shape in which they came, finite or -inf and normalised, and row i
    from row i alone.
    """
    case.has("sharpen")
    run, rng = case.run, case.rng("beliefs")
    rows, m = run.a.symbols.shape
    share = rng.dirichlet(np.full(run.a.alphabet, 2.0), size=(rows, m))
    log_prob = np.log(np.maximum(share, 1e-12))
    log_prob -= np.logaddexp.reduce(log_prob, axis=2, keepdims=True)
    found = _sharper(case, log_prob, run.published)
    for row in range(rows):
        alone = np.array([row])
        one = _sharper(case, log_prob[alone], rows_of(run.published, alone))
        same("sharpen()", "probabilities", np.exp(found[alone]), np.exp(one), when="alone as in a batch")


def _sharper(case: SchemeCase, log_prob: Array, helper: Helper) -> Array:
    rows, m, alphabet = log_prob.shape
    with at("sharpen()"):
        answer = case.ask("sharpen()", case.fresh().sharpen, np.array(log_prob), plain(helper))
        if not isinstance(answer, np.ndarray):
            raise Breach("sharpen()", "", "an array", type(answer).__name__)
        return validate.belief(case.plugin, Belief(log_prob=answer), rows, m, alphabet).log_prob
