"""For each rule the least that triggers it, and the most that must not: they differ in one thing.

Levels are worked out here anew, from the promise that one audit of a sound scheme in a hundred is flagged
and that seven kinds of tests share it, so that a rule with another level fails.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from scipy.stats import binom, poisson, t
from tests_support import exchanged

from fixtures.controls import SignCommitment
from harness.blind_findings import detector_findings
from harness.cache import Captures
from harness.contracts import Array, Estimate, Sitting
from harness.detectors import SLUGS, Detection
from harness.estimators.entropy.most_common import most_common_value
from harness.findings import attack_findings, corpus_findings, odds_findings, scheme_findings
from harness.listing_rows import METHOD, listing_findings
from harness.pursuit import Outcome
from harness.ranking import Ranks
from harness.relay import relay_findings
from harness.results import Finding, Row, measured
from harness.same_view import same_view_rows
from harness.score import Disclosure, Scores, disclosure_of

__all__ = [
    "ALLOWED",
    "AUDITED",
    "CASES",
    "Case",
    "left",
    "listing",
    "odds",
    "of_scheme",
    "row",
    "views",
    "witness",
]

ALLOWED = 0.01 / 7
"""Of a sound scheme, by one kind of test."""
AUDITED = frozenset({"enumeration-disagrees"})
"""Rules that compare two computations of a whole audit: their cases need one."""
SCHEME = SignCommitment()
BITS = 12
NOTHING = Disclosure(None, None, ())
PEOPLE = 200

Said = Callable[[], Sequence[Finding]]


@dataclass(frozen=True)
class Case:
    """What triggers a rule, and its neighbour on the sound side."""

    trigger: Said
    neighbour: Said


def row(measure: str, value: float, low: float, high: float, **changed: Any) -> Row:
    """A measured row of twenty people."""
    estimate = Estimate(
        value=value,
        low=low,
        high=high,
        level=0.95,
        unit=changed.pop("unit", "bit"),
        side="estimate",
        evidence="counted",
        subjects=changed.pop("subjects", 20),
        attempts=200,
        method=changed.pop("method", "none"),
    )
    return measured(estimate, scheme="s", measure=measure, data="recorded", **{"attack": None, **changed})


def scores(hits: int, people: int = PEOPLE, **changed: Any) -> Scores:
    """One attempt a person; the key is the first guess in the first `hits`, the last of all elsewhere."""
    fewer = np.where(np.arange(people) < hits, 0.0, 2.0**BITS - 1)
    ranks = Ranks(
        fewer_low=fewer,
        fewer_high=fewer,
        upto_low=fewer + 1,
        upto_high=fewer + 1,
        surprise=np.full(people, np.nan),
    )
    nobody, attempt = np.full(people, -1), np.arange(people)
    return replace(Scores(attempt=attempt, attacker=nobody, ranks=ranks, method="m", gain=None), **changed)


def of_scheme(rows: Sequence[Row] = (), disclosure: Disclosure = NOTHING, **facts: Any) -> list[Finding]:
    return list(scheme_findings(SCHEME, disclosure, rows, facts))


def _say(id: str, severity: str, text: str, **details: Any) -> Finding:
    return Finding(id=id, severity=severity, scheme="s", attack=None, text=text, details=details)


def _fewest(tail: Callable[[int], float], level: float) -> int:
    """The least count that chance exceeds no oftener than the level."""
    return next(k for k in range(1, 10**4) if tail(k) <= level)


# odds: six budgets; one attempt a person, so that people are as many trials
_HITS = _fewest(lambda k: float(binom.sf(k - 1, PEOPLE, 2.0**-BITS)), ALLOWED / 6)
_STRANGERS = _fewest(lambda k: float(binom.sf(k - 1, PEOPLE, 2.0**-BITS)), ALLOWED)
_PAIRS = _fewest(lambda k: float(poisson.sf(k - 1, 100 * 99 / 2 / 2**BITS)), ALLOWED)


def odds(hits: int, tests: int = 1) -> list[Finding]:
    honest = exchanged(SCHEME, rows=PEOPLE, people=PEOPLE)
    return list(odds_findings(SCHEME, honest, "a", scores(hits), tests=tests))


def views(people: int) -> list[Finding]:
    """Two attempts each, told apart in everybody: the chance of that is 2^-people."""
    told = tuple(np.eye(2) for _ in range(people))
    judged = scores(0, 2 * people, gain=np.ones(2 * people), cross=told)
    honest = exchanged(SCHEME, rows=2 * people, people=people)
    outcome = Outcome(scores=judged)
    return list(attack_findings(SCHEME, honest, "a", outcome, tests=1, ranked=1, seed=0))


def _strangers(hits: int) -> list[Finding]:
    return of_scheme(strangers=((np.arange(PEOPLE) < hits).astype(float), np.arange(PEOPLE)))


def _repeats(pairs: int) -> list[Finding]:
    return of_scheme(repeats={"pairs": pairs, "keys": 100, "expected-pairs": 4950 / 2**BITS})


def left(short_of: float) -> list[Finding]:
    """The end of a one-sided interval for one of two sources lies so much below the margin of one bit."""
    drawn_out = float(t.ppf(1 - ALLOWED / 2, 9) / t.ppf(0.975, 9))
    value = BITS - 1 - drawn_out - short_of
    method = "average-given-helper-independent-symbols"
    return of_scheme([row("min-entropy", value, value - 1, value + 1, method=method)])


def _randomness(p: float) -> list[Finding]:
    return of_scheme([row("randomness", p, p, p, unit="p-value", method="runs")])


def _blind(slug: str, p: float) -> list[Finding]:
    one = Detection(slug=slug, p=p, text="this", attempts=9, subjects=3)
    return list(detector_findings([one], _say, key_bits=BITS, level=ALLOWED))


def witness(others: int, attempts: int = 4) -> list[Finding]:
    symbols = np.zeros((attempts, 23), int)
    symbols[0, :others] = 1
    estimate = most_common_value(symbols, attempts=attempts, subjects=2)
    return of_scheme([measured(estimate, scheme="s", attack=None, measure="min-entropy", data="recorded")])


def listing(bits: float, key_bits: int = BITS) -> list[Finding]:
    rows = [row("min-entropy", bits, bits, bits, method=METHOD)]
    return list(listing_findings(rows, _say, key_bits=key_bits))


def _disclosed(flips: int, **extra: Array) -> list[Finding]:
    """So many bits of one attempt's helper data are not what A published."""
    honest = exchanged(SCHEME, rows=30, extra=extra)
    first = next(iter(sorted(set(honest.helper) - set(extra))))
    told = honest.helper[first].copy()
    told.reshape(len(told), -1)[0, :flips] ^= 1
    honest = replace(honest, helper={**honest.helper, first: told})
    return of_scheme(disclosure=disclosure_of(SCHEME, honest))


def _channels(low: float) -> list[Finding]:
    return of_scheme([row("channel-overlap", 0.1, low, 0.2, method="min-entropy")])


@dataclass(frozen=True)
class _Reads:
    name: str
    sees: frozenset[str]


def _same_view(beyond: float) -> list[Finding]:
    """Ten people; the 99 % end of the loss lies so much beyond nothing."""
    honest = exchanged(SCHEME, rows=10, people=10)
    noise = np.linspace(-1, 1, 10)
    half = float(t.ppf(0.99, 9) * noise.std(ddof=1) / np.sqrt(10))
    less, more = (scores(0, 10, gain=g) for g in (noise - half - beyond, np.zeros(10)))
    attacks = [_Reads("both", frozenset({"remote", "mimic"})), _Reads("one", frozenset({"mimic"}))]
    attacked = [("both", Outcome(scores=less)), ("one", Outcome(scores=more))]
    return list(same_view_rows(attacked, attacks, "s", honest, data="recorded")[1])


def _relay(low: float) -> list[Finding]:
    return relay_findings([row("success-odds", 0.5, low, 0.9, unit="probability", budget=1)], "s")


def _failed(**why: str) -> list[Finding]:
    honest = exchanged(SCHEME, rows=2)
    return list(attack_findings(SCHEME, honest, "a", Outcome(**why), tests=1, ranked=1, seed=0))


@dataclass(frozen=True)
class _Corpus:
    data: str


def _corpus(people: int = 2, data: str = "recorded", reads: str = "remote") -> list[Finding]:
    streams = frozenset({"device-a:emg", "device-b:emg", "remote:emg"})
    sittings = [Sitting(subject=i % people, session=i, attempts=1, streams=streams) for i in range(2)]
    attack = _Reads("a", frozenset({reads}))
    corpus: Any = _Corpus(data)
    return list(corpus_findings(corpus, Captures(sittings, {}), [attack]))


CASES: Mapping[str, Case] = {
    "odds-above-promise": Case(lambda: odds(_HITS), lambda: odds(_HITS - 1)),
    # 2^-9 lies within what random permutations leave open
    "view-tells-attempts-apart": Case(lambda: views(10), lambda: views(8)),
    "strangers-agree": Case(lambda: _strangers(_STRANGERS), lambda: _strangers(_STRANGERS - 1)),
    "keys-repeat": Case(lambda: _repeats(_PAIRS), lambda: _repeats(_PAIRS - 1)),
    "less-entropy-than-promised": Case(lambda: left(0.001), lambda: left(-0.001)),
    "randomness-failed": Case(lambda: _randomness(ALLOWED * 0.999), lambda: _randomness(ALLOWED * 1.001)),
    "witness-constant": Case(lambda: witness(0), lambda: witness(1)),
    "opened-by-trials": Case(lambda: listing(BITS - 1.001), lambda: listing(BITS - 1.0)),
    "disclosure-wrong": Case(lambda: _disclosed(1), lambda: _disclosed(0)),
    "helper-not-covered": Case(lambda: _disclosed(0, note=np.zeros((30, 1))), lambda: _disclosed(0)),
    "channels-overlap": Case(lambda: _channels(0.051), lambda: _channels(0.05)),
    "sees-more-gets-less": Case(lambda: _same_view(0.001), lambda: _same_view(-0.001)),
    "relay-shares-keys": Case(lambda: _relay(0.0101), lambda: _relay(0.01)),
    "plug-in-failed": Case(lambda: _failed(failed="no luck"), lambda: _failed(untested="no camera")),
    "one-person": Case(lambda: _corpus(people=1), lambda: _corpus(people=2)),
    "simulated": Case(lambda: _corpus(data="simulated"), lambda: _corpus(data="recorded")),
    "role-not-read": Case(lambda: _corpus(reads="mimic"), lambda: _corpus(reads="remote")),
    **{
        f"blind-{slug}": Case(
            partial(_blind, slug, ALLOWED * 0.999),
            partial(_blind, slug, ALLOWED * 1.001),
        )
        for slug in SLUGS
    },
}
"""By the id of the rule."""
