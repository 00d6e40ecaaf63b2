"""What every detector looks at: keys, whose they are, when they were made, and what was published."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.contracts import ABORTED, Array, Helper
from harness.exchange import Honest

__all__ = [
    "Evidence",
    "Generated",
    "evidence",
    "first_of_each",
    "named",
    "one_of_each",
    "own_keys",
    "row_numbers",
    "signs",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Generated:
    """Keys made once more from witnesses of honest attempts."""

    keys: Array  # (generations, key_bits) uint8
    row: Array  # (generations,) int: the attempt of `Evidence` whose witness it was


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Established keys of A, axis 0 being the attempt."""

    keys: Array  # (attempts, key_bits) uint8
    subject: Array  # (attempts,) int
    session: Array
    local: Array  # attempt number inside the sitting
    helper: Helper  # (attempts, ...) without the reserved name
    seconds: Array | None = None  # (attempts,) that sensing took
    accepted: Array | None = None  # (attempts,) bool: what everybody sees of the outcome
    generated: Generated | None = None

    @property
    def attempts(self) -> int:
        return len(self.keys)

    @property
    def key_bits(self) -> int:
        return int(self.keys.shape[1])

    @property
    def subjects(self) -> int:
        return len(np.unique(self.subject))


def evidence(honest: Honest, generated: Generated | None = None) -> Evidence:
    """Attempts that established a key."""
    rows = honest.established
    return Evidence(
        keys=honest.keys_a[rows],
        subject=honest.subject[rows],
        session=honest.session[rows],
        local=honest.local[rows],
        helper={name: array[rows] for name, array in honest.helper.items() if name != ABORTED},
        seconds=honest.seconds[rows],
        accepted=honest.accepted[rows],
        generated=generated,
    )


def signs(keys: Array) -> Array:
    """Bits 0 and 1 as 1 and -1, float32."""
    return np.asarray(1 - 2 * keys.astype(np.float32))


def first_of_each(keys: Array, subject: Array) -> Array:
    """Rows where a person's key appears for the first time, ascending."""
    person = np.unique(subject, return_inverse=True)[1].ravel()
    return np.sort(
        np.unique(row_numbers(keys) * (person.max(initial=0) + 1) + person, return_index=True)[1]
    )


def own_keys(data: Evidence) -> Array:
    """Rows that count as observations, ascending: a person's key that comes again is the same one.

    That keys repeat is for other detectors to say. Short keys repeat by chance; where more than one such
    repeat is expected, all rows count, as different keys of one person would not be independent.
    """
    of_one = np.unique(data.subject, return_counts=True)[1].astype(float)
    if math.ldexp(float((of_one * (of_one - 1)).sum()) / 2, -data.key_bits) > 1:
        return np.arange(data.attempts)
    return first_of_each(data.keys, data.subject)


def one_of_each(data: Evidence) -> Evidence:
    """The first key of each person, with what was generated from its witness."""
    rows = np.unique(data.subject, return_index=True)[1]
    made = data.generated
    if made is not None:
        place = np.full(data.attempts, -1)
        place[rows] = np.arange(len(rows))
        kept = place[made.row] >= 0
        made = Generated(keys=made.keys[kept], row=place[made.row[kept]])
    return Evidence(
        keys=data.keys[rows],
        subject=data.subject[rows],
        session=data.session[rows],
        local=data.local[rows],
        helper={name: array[rows] for name, array in data.helper.items()},
        seconds=None if data.seconds is None else data.seconds[rows],
        accepted=None if data.accepted is None else data.accepted[rows],
        generated=made,
    )


def row_numbers(bits: Array) -> Array:
    """(rows,) int: equal where rows of bits are equal, from 0 without gaps."""
    octets = np.packbits(bits, axis=1)
    octets = np.pad(octets, ((0, 0), (0, -octets.shape[1] % 4)))
    number = np.zeros(len(bits), np.int64)
    for word in np.ascontiguousarray(octets).view(np.uint32).T:
        number = np.unique(number << 32 | word, return_inverse=True)[1].ravel()
    return np.asarray(number)


def named(positions: Sequence[int] | Array, *, most: int = 6) -> str:
    """Key bits in words, e.g. "key bits 3, 5-9 and 12".

    Examples
    --------
    >>> named([3]), named([4, 1, 2, 9])
    ('key bit 3', 'key bits 1, 2, 4 and 9')
    >>> named(range(40))
    'key bits 0-39'
    >>> named(range(0, 40, 2), most=3)
    'key bits 0, 2, 4 and 17 more'
    """
    order = sorted({int(p) for p in positions})
    runs: list[list[int]] = []
    for p in order:
        if runs and p == runs[-1][-1] + 1:
            runs[-1].append(p)
        else:
            runs.append([p])
    words: list[str] = []
    shown = 0
    for run in runs:
        parts = [f"{run[0]}-{run[-1]}"] if len(run) > 2 else [str(p) for p in run]
        if len(words) + len(parts) > most:
            break
        words += parts
        shown += len(run)
    if shown < len(order):
        words.append(f"{len(order) - shown} more")
    text = " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]
    return f"key bit{'s' if len(order) > 1 else ''} {text}"
