"""What a scheme says about its helper data has to be so: the harness attacks it by that."""

from __future__ import annotations

import numpy as np

from harness import validate
from harness.checks.alike import same
from harness.checks.handing import rows_of, writeable
from harness.checks.outcomes import Breach, at, needed
from harness.checks.registry import check
from harness.checks.scheme_case import SchemeCase, attempts_with
from harness.contracts import Array, Helper, Linear
from harness.gf2 import product

__all__: list[str] = []

MEMBERS = ("labels", "linear", "finish")


def _told(case: SchemeCase, helper: Helper, rows: int) -> tuple[Array, Linear]:
    """Labels (alphabet, bits) and the validated disclosure."""
    own, a = case.fresh(), case.run.a
    labels = validate.bits(case.plugin, "labels", own.labels, (a.alphabet, None))
    linear = case.ask("linear()", own.linear, writeable(helper))
    return labels, validate.linear(case.plugin, linear, rows, a.symbols.shape[1] * labels.shape[1])


def _finished(case: SchemeCase, secret: Array, helper: Helper) -> Array:
    keys = case.ask("finish()", case.fresh().finish, writeable(secret), writeable(helper))
    return validate.key_bits(case.plugin, "keys", keys, len(secret), case.width)


def _words(case: SchemeCase, labels: Array, linear: Linear) -> Array:
    """(attempts, blocks, n) bits of A's witness; places of -1 read as 0."""
    symbols = case.run.a.symbols
    bits = labels[symbols].reshape(len(symbols), -1)
    bits = np.pad(bits, ((0, 0), (0, 1)))
    places = np.broadcast_to(linear.positions, (len(symbols), *linear.positions.shape[1:]))
    found = np.take_along_axis(bits, places.reshape(len(symbols), -1), axis=1)
    return np.asarray(found.reshape(places.shape))


@check("scheme", "disclosure-well-formed")
def disclosure_well_formed(case: SchemeCase) -> None:
    """`labels` give every symbol its own bits, `linear` returns a Linear whose arrays fit each other and
    the witness, and `finish` makes keys of secrets.
    """
    case.has(*MEMBERS)
    helper, rows = case.run.published, len(case.run.keys)
    with at("labels"):
        labels = validate.bits(case.plugin, "labels", case.fresh().labels, (case.run.a.alphabet, None))
    if len(np.unique(labels, axis=0)) < len(labels):
        raise Breach("labels", "", "other bits for every symbol", "two symbols with the same")
    with at("linear()"):
        _, linear = _told(case, helper, rows)
    blocks, k = linear.positions.shape[1], len(linear.secret_map)
    with at("finish()"):
        _finished(case, np.zeros((rows, blocks * k), np.uint8), helper)


@check("scheme", "disclosure-true")
def disclosure_true(case: SchemeCase) -> None:
    """Where A holds a key, `parity` times A's bits is `syndrome`, and `finish` of the secret that `linear`
    names is A's key.
    """
    case.has(*MEMBERS)
    run, rows = case.run, attempts_with(case, lambda run: run.established)
    with needed("disclosure-well-formed"):
        labels, linear = _told(case, run.published, len(run.keys))
    words = _words(case, labels, linear)
    syndrome = product(words, linear.parity.T)
    _equal("linear()", "syndrome", "parity @ bits", syndrome, linear.syndrome, rows)
    secret = product(words, linear.secret_map.T) ^ linear.secret_offset
    with needed("disclosure-well-formed"):
        keys = _finished(case, secret.reshape(len(run.keys), -1), run.published)
    _equal("finish()", "keys", "A's", run.keys, keys, rows)


def _equal(member: str, field: str, what: str, expected: Array, got: Array, rows: Array) -> None:
    differ = (expected != got).reshape(len(expected), -1)[rows]
    if differ.any():
        row = int(differ.any(axis=1).argmax())
        count = f"{int(differ[row].sum())} of {differ.shape[1]} bits that differ"
        raise Breach(member, field, what, count, row=int(rows[row]))


@check("scheme", "disclosure-rows-stand-alone")
def disclosure_rows_stand_alone(case: SchemeCase) -> None:
    """Row i of `linear` and `finish` depends on row i of the helper data and of the secret alone."""
    case.has(*MEMBERS)
    run, rng = case.run, case.rng("secrets")
    count = len(run.keys)
    with needed("disclosure-well-formed"):
        _, whole = _told(case, run.published, count)
    width = whole.positions.shape[1] * len(whole.secret_map)
    secret = rng.integers(0, 2, (count, width), dtype=np.uint8)
    with needed("disclosure-well-formed"):
        keys = _finished(case, secret, run.published)
    for row in range(count):
        alone = np.array([row])
        helper = rows_of(run.published, alone)
        with at("linear()"):
            _, one = _told(case, helper, 1)
        for field in ("syndrome", "secret_offset"):
            expected = getattr(whole, field)[alone]
            same("linear()", field, expected, getattr(one, field), when="alone as in a batch")
        with at("finish()"):
            found = _finished(case, secret[alone], helper)
        same("finish()", "keys", keys[alone], found, when="alone as in a batch")
