"""Keys that follow from the key before: counters, constant steps, few changes, registers."""

from __future__ import annotations

import numpy as np
from scipy.stats import binom

from harness.contracts import Array
from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, signs
from harness.detectors.order import consecutive
from harness.detectors.relations import SPARE, relations
from harness.detectors.repeats import shared_p_value, shared_values
from harness.detectors.tails import TOLD, advantage, bits_of, least_rows
from harness.detectors.tied import strongest_ties

__all__ = ["key_counter"]

_WORD = 64  # differences are taken of so many bits at either end of the key


def key_counter(data: Evidence) -> Detection:
    """A person's key from the one before: bit by bit, exact relations, how much changes, equal steps.

    Under the null the sums over GF(2), and the differences as numbers, of consecutive keys are again
    independent and uniform.
    """
    slug, k = "key-counter", data.key_bits
    first, second = consecutive(data)
    n, need = len(first), least_rows(k * k)
    if n < need:
        return untested(slug, f"{need} keys that follow another of the same person could show it, not {n}")
    before, after = data.keys[first], data.keys[second]
    looks = [_bit_by_bit(before, after, data.subject[second]), _changes(before ^ after)]
    looks += [_equal_steps(step, what) for what, step in _steps(before, after)]
    if n >= 2 * k + 1 + SPARE:
        looks.append(_related(before, after))
    p = len(looks) * min(x[0] for x in looks)
    heard = [x for x in looks if len(looks) * x[0] <= TOLD]
    best = max(heard, key=lambda x: (x[1], -x[0])) if heard else min(looks)
    lost = best[1] if heard else 0.0
    return found(slug, p, best[2], bits=lost, attempts=n, subjects=data.subjects)


def _bit_by_bit(before: Array, after: Array, subject: Array) -> tuple[float, float, str]:
    tie = strongest_ties([signs(before)], signs(after), subject, centred=False)
    if not tie.heard:
        return tie.p, 0.0, "no key bit follows a bit of the person's key before"
    text = f"{named(tie.positions)} told by {named(tie.columns)} of the person's key before"
    return tie.p, tie.bits, f"{text} {tie.told}"


def _related(before: Array, after: Array) -> tuple[float, float, str]:
    seen = relations(before, after).with_known()
    at = np.flatnonzero(seen.of_wanted.any(axis=0))
    if not len(at):
        return 1.0, 0.0, "no sum of key bits is a sum of bits of the person's key before"
    text = f"{named(at)} following from the person's key before in {seen.count} exact relations"
    return seen.chance, float(seen.count), text


def _changes(step: Array) -> tuple[float, float, str]:
    changed, total = int(step.sum()), step.size
    p = 2 * float(binom.cdf(min(changed, total - changed), total, 0.5))
    # bits of one step may be dependent: only steps count
    gain = float(bits_of(advantage(1 - 2 * changed / total, len(step), 1)))
    text = f"{changed / total:.1%} of the key bits change from a person's key to the next"
    return min(1.0, p), gain * step.shape[1], text


def _steps(before: Array, after: Array) -> list[tuple[str, Array]]:
    """Sums over GF(2), and differences as numbers, of either end and order of the key."""
    k = before.shape[1]
    width = min(k, _WORD)
    found = [("changed bits", before ^ after)]
    for what, part in (
        ("last bits", slice(k - width, k)),
        ("first bits", slice(0, width)),
        ("first bits, lowest first", slice(width - 1, None, -1)),
    ):
        difference = _number(after[:, part]) - _number(before[:, part])
        bits = difference[:, None] >> np.arange(width, dtype=np.uint64) & np.uint64(1)
        found.append((f"differences of the {what}", bits.astype(np.uint8)))
    return found


def _number(bits: Array) -> Array:
    weight = np.uint64(1) << np.arange(bits.shape[1], dtype=np.uint64)[::-1]
    return np.asarray((bits.astype(np.uint64) * weight).sum(axis=1, dtype=np.uint64))


def _equal_steps(step: Array, what: str) -> tuple[float, float, str]:
    seen = shared_values(step, np.arange(len(step)))  # every step by itself: they are independent
    text = f"{what} from a person's key to the next are equal in {seen.pairs} of {seen.compared:.3g} pairs"
    lost = step.shape[1] - float(np.log2(seen.compared / seen.pairs)) if seen.pairs else 0.0
    return shared_p_value(seen), lost, text
