"""Captures of which nothing can be made, and what becomes of an attempt that failed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.checks.outcomes import Breach, at
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase
from harness.checks.schemes.forms import beginning
from harness.contracts import Array, Capture, Witness

__all__ = ["like"]


def like(capture: Capture, samples: Array) -> Capture:
    """A capture of the same sensor with other samples."""
    return Capture(
        samples=samples, rate_hz=capture.rate_hz, signal=capture.signal, unit=capture.unit, seconds=None
    )


def _refused(case: SchemeCase, capture: Capture, what: str) -> Witness:
    with at("witness()"):
        found = case.sense(case.fresh(), capture)
    wrong = np.flatnonzero(found.acquired)
    if len(wrong):
        raise Breach("witness()", "acquired", f"False for {what}", "True", row=int(wrong[0]))
    return found


@check("scheme", "short-captures-marked")
def short_captures_marked(case: SchemeCase) -> None:
    """Too short a capture is marked as not acquired; it is no error."""
    whole = case.both[0]
    _ = case.witnesses
    _refused(case, like(whole, whole.samples[:, :, :1]), "a capture of one sample")
    longest = whole.samples.shape[2]
    for samples in {longest // 2, longest - 1} - {0}:
        with at("witness()"):
            case.sense(case.fresh(), beginning(whole, samples))
    padded = np.full(whole.samples.shape, np.nan)
    padded[:, :, :1] = whole.samples[:, :, :1]
    _refused(case, like(whole, padded), "one sample that is followed by NaN")


@check("scheme", "silence-marked")
def silence_marked(case: SchemeCase) -> None:
    """A capture that holds no sample at all, NaN throughout, is marked as not acquired; it is no error."""
    whole = case.both[0]
    _ = case.witnesses
    _refused(case, like(whole, np.full(whole.samples.shape, np.nan)), "a capture of NaN alone")


@check("scheme", "odd-captures-answered")
def odd_captures_answered(case: SchemeCase) -> None:
    """A capture with gaps (NaN inside), one that is constant, and one whose rows end at different times are
    answered by a well-formed witness, acquired or not; they are no error.
    """
    _ = case.witnesses
    for capture, what in _odd(case.both[0]):
        try:
            with at("witness()"):
                case.sense(case.fresh(), capture)
        except Breach as breach:
            raise Breach(
                "witness()", breach.place.field, breach.expected, f"{breach.got}, from {what}"
            ) from breach


def _odd(whole: Capture) -> Iterator[tuple[Capture, str]]:
    samples = whole.samples
    n = samples.shape[2]
    gap = np.array(samples)
    gap[0, :, n // 4 : n // 4 + max(1, n // 20)] = np.nan
    yield like(whole, gap), "a capture with a gap"
    late = np.array(samples)
    late[:, :, :1] = np.nan
    yield like(whole, late), "a capture that begins with NaN"
    for value in (0.0, 1.0):
        yield like(whole, np.full(samples.shape, value)), f"a capture of {value:g} throughout"
    ragged = np.array(samples)
    ragged[-1, :, n // 2 :] = np.nan
    yield like(whole, ragged), "rows of different lengths"


@check("scheme", "failures-not-accepted")
def failures_not_accepted(case: SchemeCase) -> None:
    """An attempt that device B did not acquire, or that device A has aborted, is not accepted."""
    run = case.run
    lost = Witness(
        symbols=run.a.symbols,
        alphabet=run.a.alphabet,
        acquired=np.zeros(len(run.keys), bool),
        features=run.a.features,
    )
    scheme = case.fresh()
    if case.interactive:
        accepted = case.agree(scheme, run.a, lost, case.rng("generate")).accepted
        member = "agree()"
    else:
        accepted = case.reproduce(scheme, lost, run.helper)[1]
        member = "reproduce()"
    wrong = np.flatnonzero(accepted)
    if len(wrong):
        raise Breach(member, "accepted", "False where B acquired nothing", "True", row=int(wrong[0]))
    wrong = np.flatnonzero(run.accepted & run.aborted)
    if len(wrong):
        raise Breach(member, "accepted", "False where A aborted", "True", row=int(wrong[0]))
