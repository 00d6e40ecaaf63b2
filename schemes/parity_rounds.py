"""Interactive parity reconciliation: B finds its errors by asking A for the parities of halves.

References
----------
Brassard and Salvail, Secret-key reconciliation by public discussion, EUROCRYPT 1993: blocks that
double from round to round, and the correction of earlier rounds; a first block of about .73 / error
rate (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.contracts import Array, Helper
from schemes.parity_search import Talk
from schemes.quantisers.checks import whole_number

__all__ = ["ParityRounds", "equations", "parities_told"]

_AT_ONCE = 1 << 22  # bits of all rounds that are held at a time


@dataclass(frozen=True, slots=True, kw_only=True)
class ParityRounds:
    """Corrects `bits` witness bits of B to those of A.

    In every round the bits are put in a fresh public order and cut into blocks, of which A tells the
    parities. In a block whose parity differs B finds one error by asking for the parity of the first
    half, then of half of the odd half, and so on. What is corrected turns blocks of earlier rounds
    odd, which are searched in turn, all of the earliest round at once. Blocks double from round to
    round.

    An even number of errors that share their blocks in every round stays. As A answers with parities
    of its bits alone, each answer is one equation about them: `parities_told` counts these,
    `equations` writes them down. B's questions show where it erred; that says something of A's bits only
    as far as some of their values are likelier to be misread than others.

    Which parities are told depends on the errors, so no parity matrix holds for all attempts, and the
    helper data cannot be disclosed as `Linear`.
    """

    bits: int
    first_block: int
    rounds: int = 4

    def __post_init__(self) -> None:
        whole_number("bits", self.bits, 2, 65535)
        whole_number("first_block", self.first_block, 2, self.bits)
        whole_number("rounds", self.rounds, 1, 16)

    @property
    def block_lengths(self) -> tuple[int, ...]:
        """Bits of a block, by round; the last block of a round may be shorter."""
        return tuple(min(self.first_block << r, self.bits) for r in range(self.rounds))

    @property
    def blocks(self) -> int:
        """Blocks of all rounds, whose parities are told in any case."""
        return sum(-(-self.bits // length) for length in self.block_lengths)

    @property
    def answers(self) -> int:
        """Parities of halves that A tells at most: with more, all bits might be known anyway."""
        return max(1, self.bits - self.blocks)

    def reconcile(self, a: Array, b: Array, *, rng: np.random.Generator) -> tuple[Array, Array, Helper]:
        """Run the protocol.

        Parameters
        ----------
        a, b : uint8, shape (attempts, bits)
            The bits of A and of B.
        rng : Generator
            Draws the public orders, and nothing else.

        Returns
        -------
        corrected : uint8, shape (attempts, bits)
            B's bits after it; where `finished` is False, as far as it came.
        finished : bool, shape (attempts,)
            False where A had told `answers` parities and B asked for one more.
        helper : Mapping
            "orders" uint16 (attempts, rounds, bits): which bit stands at each place;
            "block-parities" uint8 (attempts, blocks), round by round;
            "asked" uint16 (attempts, answers, 3): round, first place, end; "answers" uint8 and "told"
            uint8 (attempts, answers): what A said, and where it said anything.
        """
        attempts = len(a)
        if a.shape != (attempts, self.bits) or b.shape != a.shape:
            raise ValueError(
                f"bits must be (attempts, {self.bits}) for A and B, got {a.shape} and {b.shape}"
            )
        places = np.broadcast_to(np.arange(self.bits, dtype=np.uint16), (attempts, self.rounds, self.bits))
        orders = rng.permuted(places, axis=2)
        helper = {
            "orders": orders,
            "block-parities": np.zeros((attempts, self.blocks), np.uint8),
            "asked": np.zeros((attempts, self.answers, 3), np.uint16),
            "answers": np.zeros((attempts, self.answers), np.uint8),
            "told": np.zeros((attempts, self.answers), np.uint8),
        }
        corrected = np.array(b, np.uint8)
        finished = np.empty(attempts, np.bool_)
        step = max(1, _AT_ONCE // (self.rounds * self.bits))
        for start in range(0, attempts, step):
            part = slice(start, start + step)
            talk = Talk(
                np.asarray(a[part], np.uint8),
                corrected[part],
                {name: array[part] for name, array in helper.items()},
                self.block_lengths,
            )
            talk.run()
            finished[part] = ~talk.over
        return corrected, finished, helper


def parities_told(helper: Helper) -> Array:
    """(attempts,) parities of A's bits that were told: at most so many bits are known of them."""
    blocks: int = helper["block-parities"].shape[1]
    return np.asarray(blocks + helper["told"].sum(axis=1, dtype=np.int64))


def equations(scheme: ParityRounds, helper: Helper, attempt: int) -> tuple[Array, Array]:
    """What one attempt made known of A's bits: matrix (told, bits) @ bits = values (told,)."""
    orders = helper["orders"][attempt]
    rows, values = [], []

    def add(turn: int, start: int, stop: int, value: int) -> None:
        row = np.zeros(scheme.bits, np.uint8)
        row[orders[turn, start:stop]] = 1
        rows.append(row)
        values.append(value)

    told = iter(helper["block-parities"][attempt].tolist())
    for turn, length in enumerate(scheme.block_lengths):
        for start in range(0, scheme.bits, length):
            add(turn, start, start + length, next(told))
    for index in np.flatnonzero(helper["told"][attempt]):
        turn, start, stop = helper["asked"][attempt, index].tolist()
        add(turn, start, stop, int(helper["answers"][attempt, index]))
    return np.array(rows), np.array(values, np.uint8)
