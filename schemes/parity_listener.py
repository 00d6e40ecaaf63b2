"""What a listener makes of a conversation of `parity_rounds`: belief propagation on every parity told.

References
----------
Gallager, Low-Density Parity-Check Codes, MIT Press (1963).
"""

from __future__ import annotations

import numpy as np

from harness.contracts import Array, Helper
from schemes.parity_rounds import ParityRounds

__all__ = ["corrected_by_listening", "known_pieces", "odds_by_listening"]

_TURNS = 16  # of passing messages: 15 corrected at least 5 words of every 6 that 30 did
_LEAST, _MOST = np.float32(1e-6), np.float32(15)  # log-odds beyond which a bit counts as unknown or sure
_AT_ONCE = 1 << 15  # messages at a time: they stay in cache


def corrected_by_listening(
    scheme: ParityRounds, bits: Array, helper: Helper, *, doubt: float
) -> tuple[Array, Array]:
    """The listener's own bits, corrected towards those of A.

    Parameters
    ----------
    scheme : ParityRounds
    bits : uint8, shape (attempts, scheme.bits)
        What the listener holds A's bits to be.
    helper : Mapping
        Every message, as `reconcile` returns them.
    doubt : float
        Probability that a bit of the listener is wrong, above 0 and below .5.

    Returns
    -------
    corrected : uint8, shape (attempts, scheme.bits)
    fits : bool, shape (attempts,)
        Where all parities told hold. That is no proof: other bits may fit as well.

    Raises
    ------
    ValueError
        If `doubt` is out of range.
    """
    if not 0 < doubt < 0.5:
        raise ValueError(f"`doubt` must lie between 0 and 0.5, got {doubt:g}")
    sure = np.log((1 - doubt) / doubt)
    odds, fits = odds_by_listening(scheme, np.where(np.equal(bits, 1), sure, -sure), helper)
    return (odds > 0).astype(np.uint8), fits


def odds_by_listening(scheme: ParityRounds, log_odds: Array, helper: Helper) -> tuple[Array, Array]:
    """What the listener believes of A's bits, sharpened by every parity told.

    Parameters
    ----------
    scheme : ParityRounds
    log_odds : float, shape (attempts, scheme.bits)
        log P(bit = 1) / P(bit = 0), independent bits.
    helper : Mapping
        As in `corrected_by_listening`.

    Returns
    -------
    log_odds : float32, shape (attempts, scheme.bits)
        After it; nearly right, as the pieces of the rounds share bits.
    fits : bool, shape (attempts,)
        Where all parities told hold for the likeliest value of each bit.
    """
    sharpened = np.asarray(np.clip(log_odds, -_MOST, _MOST), np.float32)
    fits = np.empty(len(sharpened), np.bool_)
    step = max(1, _AT_ONCE // (scheme.rounds * scheme.bits))
    for start in range(0, len(sharpened), step):
        part = slice(start, start + step)
        some = {
            name: helper[name][part] for name in ("orders", "block-parities", "asked", "answers", "told")
        }
        sharpened[part], fits[part] = _propagate(scheme, sharpened[part], some)
    return sharpened, fits


def known_pieces(scheme: ParityRounds, helper: Helper) -> tuple[Array, Array]:
    """Every round as the smallest pieces whose parity is known, which together say all that was told.

    Returns
    -------
    starts : bool, shape (attempts, rounds, bits)
        Places at which a piece begins.
    before : uint8, shape (attempts, rounds, bits + 1)
        At such a place, and at the end, the parity of all bits before it; elsewhere 0.
    """
    attempts, rounds, bits = helper["orders"].shape
    starts = np.zeros((attempts, rounds, bits + 1), np.bool_)
    before = np.zeros((attempts, rounds, bits + 1), np.uint8)
    done = 0
    for turn, length in enumerate(scheme.block_lengths):
        ends = np.append(np.arange(length, bits, length), bits)
        parities = helper["block-parities"][:, done : done + len(ends)]
        starts[:, turn, 0] = starts[:, turn, ends] = True
        before[:, turn, ends] = np.bitwise_xor.accumulate(parities, axis=1)
        done += len(ends)
    told = np.asarray(helper["told"]) == 1
    for index in range(int(told.sum(axis=1).max(initial=0))):
        who = np.flatnonzero(told[:, index])
        turn, start, stop = helper["asked"][who, index].astype(np.intp).T
        starts[who, turn, stop] = True  # a question begins where a known piece does
        before[who, turn, stop] = before[who, turn, start] ^ helper["answers"][who, index]
    return starts[..., :-1], before


def _propagate(scheme: ParityRounds, log_odds: Array, helper: Helper) -> tuple[Array, Array]:
    attempts, rounds, n = helper["orders"].shape
    starts, before = known_pieces(scheme, helper)
    orders = helper["orders"].astype(np.intp)
    row = np.arange(attempts)[:, None, None]
    at_bit = (row * n + orders).ravel()  # of every place, in (attempts, bits)
    turn = np.arange(rounds)[:, None]
    at_place = (row * rounds + turn) * n + np.argsort(orders, axis=2)  # of every bit, in (..., places)
    first = np.flatnonzero(starts.ravel())
    lengths = np.diff(np.append(first, starts.size))
    at_start = before[..., :-1].ravel()[first]
    last = (first + lengths) % n == 0  # the piece ends its round
    at_end = np.where(last, before[..., -1].ravel()[first // n], np.roll(at_start, -1))
    odd = at_start != at_end

    own = -log_odds  # of 0, so that a product of signs is a parity
    told = np.zeros(starts.size, np.float32)  # what the piece at each place says of its bit
    for _ in range(_TURNS):
        message = (own + told.take(at_place).sum(axis=1)).take(at_bit) - told
        negative = message < 0
        size = _phi(np.abs(message))
        told = _phi(np.repeat(np.add.reduceat(size, first), lengths) - size)
        flip = np.repeat(np.logical_xor.reduceat(negative, first) ^ odd, lengths) ^ negative
        np.negative(told, out=told, where=flip)
    found = -(own + told.take(at_place).sum(axis=1))
    guess = found > 0
    wrong = np.logical_xor.reduceat(guess.take(at_bit), first) != odd
    fits = np.bincount(first // (rounds * n), weights=wrong, minlength=attempts) == 0
    return found, fits


def _phi(value: Array) -> Array:
    """-log tanh(x / 2), its own inverse; values are kept where it is finite."""
    return np.asarray(-np.log(np.tanh(np.clip(value, _LEAST, _MOST) / 2)))
