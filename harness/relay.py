"""Relay: live messages of the victim, carried to the adversary's device with a delay.

The adversary's device senses the victim as the owner's second device does. One that senses all along and
lines its capture up when messages arrive loses nothing by delay: it shares keys as the owner does, and only
a limit on the time of an exchange stops it. One that begins to sense when messages reach it has device B's
capture from the delay on, its last sample held to the end. Helper data are not touched. Nobody guesses: the
harness runs B on the late captures and counts shared keys.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from harness import validate
from harness.cache import Captures
from harness.collecting import Rows
from harness.contracts import ABORTED, DEVICE_B, Array, Capture, Estimate
from harness.errors import ContractError
from harness.estimators import proportion
from harness.exchange import Honest, call, parts, signal_of, take
from harness.interference import FEW
from harness.results import Finding, PerSubject, Row
from harness.streams import stream

__all__ = ["DELAYS_S", "NAME", "SHARES", "late", "relay_findings", "relay_rows", "relayed"]

NAME = "relay"
SHARES = "relay-shares-keys"
"""Name of the finding."""
DELAYS_S = (0.0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
STOPPED = 0.01
"""Agreement from which on a relay counts as stopped."""


def late(capture: Capture, delay_s: float) -> Capture:
    """What a device has that begins `delay_s` late, its last sample held to the end.

    Of an event series, the events that began before are lost.
    """
    if delay_s == 0:
        return capture
    x = capture.samples
    rows, _, samples = x.shape
    if capture.rate_hz is not None:
        lost = np.full(rows, round(delay_s * capture.rate_hz))
    else:
        begun = np.cumsum(np.nan_to_num(x[:, 0]), axis=1) - np.nan_to_num(x[:, 0])
        lost = (begun < delay_s).sum(axis=1)
    last = np.maximum((~np.isnan(x[:, 0])).sum(axis=1) - 1, 0)
    here, last = np.arange(samples)[None, :], last[:, None]
    held = np.minimum(here + lost[:, None], last)
    index = np.where(here > last, here, held)  # what ends in NaN still does
    return replace(capture, samples=np.take_along_axis(x, index[:, None, :], axis=2))


def relayed(
    scheme: Any, honest: Honest, captures: Captures, indices: range, seed: int
) -> list[tuple[Array, Array]]:
    """For each sitting its attempts, and (delays, attempts): 1 where a late device has A's key, else 0.

    With a delay only the first FEW attempts of each sitting are run; NaN elsewhere.

    Raises
    ------
    ContractError
        If the scheme failed.
    """
    found = []
    for sitting in indices:
        attempt = np.flatnonzero(honest.sitting == sitting)
        cached = captures.of(sitting, f"{DEVICE_B}:{signal_of(scheme, DEVICE_B)}")
        if cached is None:
            raise ContractError(scheme.name, "witness()", "given captures of device B", "none")
        few = np.arange(min(FEW, len(attempt)))
        capture = cached.load(honest.local[attempt[few]])
        shared = np.full((len(DELAYS_S), len(attempt)), np.nan)
        for i, delay in enumerate(DELAYS_S):
            if delay == 0:
                shared[i] = honest.agreed[attempt]
            else:
                shared[i, few] = _shared(scheme, honest, attempt[few], late(capture, delay), seed)
        found.append((attempt, shared))
    return found


def _shared(scheme: Any, honest: Honest, attempt: Array, capture: Capture, seed: int) -> Array:
    name, rows, own = scheme.name, len(attempt), copy.deepcopy(scheme)
    width = honest.keys_a.shape[1]
    b = validate.witness(name, call(name, "witness()", own.witness, capture), rows)
    helper = {k: v[attempt] for k, v in honest.helper.items()}
    keys_a: Any = honest.keys_a[attempt]
    there = honest.a.acquired[attempt] & b.acquired
    if callable(getattr(scheme, "agree", None)):  # its messages depend on B, so it runs again
        rng = stream(seed, NAME, "agree", int(honest.sitting[attempt[0]]))
        a = take(honest.a, attempt)
        answer = call(name, "agree()", own.agree, a, b, rng=rng)
        keys_a, keys, accepted, helper = parts(name, "agree()", answer, 4)
        helper = validate.helper_data(name, helper, rows)
    else:
        keys, accepted = parts(name, "reproduce()", call(name, "reproduce()", own.reproduce, b, helper), 2)
    keys_a = validate.key_bits(name, "keys of A", keys_a, rows, width)
    keys = validate.key_bits(name, "keys of B", keys, rows, width)
    kept = validate.accepted_flags(name, accepted, rows) & ~helper.get(ABORTED, np.zeros(rows, bool))
    return np.asarray(there & kept & (keys == keys_a).all(axis=1))


def relay_rows(
    found: Sequence[tuple[Array, Array]], honest: Honest, *, scheme: str, data: str
) -> tuple[list[Row], list[PerSubject]]:
    """P(shared key) by delay, the odds at a typical delay, and the time budget that would stop a relay.

    Parameters
    ----------
    found : sequence
        From `relayed`, of all sittings.
    """
    table = Rows(scheme, NAME, data)
    attempt = np.concatenate([a for a, _ in found])
    shared = np.concatenate([s for _, s in found], axis=1)
    usable = honest.victims[attempt]
    if not usable.any():
        table.skip("success-odds", "probability", "no attempt established a key")
        return table.rows, table.per_subject
    subject = honest.subject[attempt[usable]]
    ladder = []
    for delay, hits in zip(DELAYS_S, shared[:, usable].astype(float), strict=True):
        ran = np.isfinite(hits)  # only a few of each sitting were run late
        if not ran.any():
            continue
        rate = proportion.clustered_rate(hits[ran], hits[ran], subject[ran], side="attacker-at-least")
        ladder.append((delay, rate))
        table.add(
            "relay-agreement",
            replace(rate, method=f"delay-{round(1000 * delay)}-ms"),
            reason="of established keys; a device that begins to sense as device B does, but so late",
        )
        if delay == 0:
            table.add(
                "success-odds",
                replace(rate, evidence="assumed"),
                budget=1,
                reason="nothing is guessed: a device that senses as device B does all along (assumption) "
                "shares keys as the owner does, however late messages arrive; a time limit may stop it",
            )
            table.people("success-odds", hits, subject, budget=1)
    _budget(table, ladder)
    return table.rows, table.per_subject


def _budget(table: Rows, ladder: Sequence[tuple[float, Estimate]]) -> None:
    """The longest delay tried with which a relay still shares keys; a time limit must be shorter."""
    works = [d for d, rate in ladder if rate.value > STOPPED]
    surely = [d for d, rate in ladder if rate.low > STOPPED]
    if not works:
        why = f"even without delay a relay shares a key in {STOPPED:g} of attempts at most"
        table.skip("relay-time-budget", "s", why, status="not-applicable", method="above-1-percent")
        return
    stopped = [d for d, rate in ladder if d > works[-1] and rate.high <= STOPPED]
    first = ladder[0][1]
    table.add(
        "relay-time-budget",
        Estimate(
            value=works[-1],
            low=max(surely, default=0.0),
            high=min(stopped, default=float("nan")),
            level=first.level,
            unit="s",
            side="attacker-at-least",
            evidence="counted",
            subjects=first.subjects,
            attempts=first.attempts,
            method="above-1-percent",
        ),
        reason="longest delay tried at which a device that begins to sense late still shares more than a "
        "hundredth of keys; a time limit stops it only if it is shorter",
    )


def relay_findings(rows: Sequence[Row], scheme: str) -> list[Finding]:
    """A note where live messages carried on give keys: it is no leak, and no key length stops it.

    Parameters
    ----------
    rows : sequence of Row
        From `relay_rows`.
    """
    odds = [r for r in rows if r.measure == "success-odds" and r.status == "measured"]
    if not odds or odds[0].value is None or odds[0].low is None or odds[0].low <= STOPPED:
        return []
    limits = [r.value for r in rows if r.measure == "relay-time-budget" and r.value is not None]
    late_one = f"; one that begins late still gets some {limits[0]:g} s late" if limits else ""
    return [
        Finding(
            id=SHARES,
            severity="note",
            scheme=scheme,
            attack=NAME,
            text=f"A device that senses all along and is sent live messages shares {odds[0].value:.3g} of "
            f"keys{late_one}. Nothing in keys or helper data stops that: only a limit on the time or the "
            "place of an exchange can.",
            details={"shared": odds[0].value, "low": odds[0].low},
        )
    ]
