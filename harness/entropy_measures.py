"""From honest runs to rows of the result table: entropy of the witness, and what is left of the key."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from harness import gf2
from harness.collecting import Rows
from harness.contracts import Array, Estimate, Linear
from harness.errors import InsufficientData
from harness.estimators.dependence import neighbours_p_value
from harness.estimators.entropy import given_helper, most_common
from harness.estimators.entropy.fitted_markov import markov_min_entropy, most_predictable
from harness.exchange import Honest, call
from harness.score import Disclosure
from harness.streams import stream

__all__ = ["entropy_rows", "partly_read", "read_symbols"]

_INDEPENDENT = "average-given-helper-independent-symbols"
_MARKOV = "average-given-helper-markov"
_DEPENDENT = 0.01  # a chain counts where its dependence is seen at this level
_DRAWS = 100
_WORK = 2e8  # (draw, block, syndrome, symbol, symbol): large alphabets get fewer draws


def entropy_rows(
    table: Rows, scheme: Any, honest: Honest, disclosure: Disclosure, facts: dict[str, Any], *, seed: int
) -> Estimate | None:
    """Entropy of the witness, and what is left of the key given helper data.

    Parameters
    ----------
    table : Rows
        Gets the rows, and each person's value for comparing the same people twice.
    scheme, honest, disclosure
        What ran, and what is known of its helper data.
    facts : dict
        Gets "worst": the subject with the least entropy; and where it matters "understated": the bits by
        which figures of what is left may be too low for want of people.
    seed : int
        Of the run.

    Returns
    -------
    Estimate or None
        Bits left by the source that leaves least of those that could be judged; None if none could.
    """
    usable = honest.a.acquired
    if not usable.any():
        table.skip("min-entropy", "bit/symbol", "no attempt was acquired", method="most-common-value")
        return None
    symbols, subject = honest.a.symbols[usable], honest.subject[usable]
    pooled = most_common.most_common_value(symbols, attempts=len(symbols), subjects=len(np.unique(subject)))
    worst, who = most_common.worst_subject(symbols, subject)
    small = (
        None if symbols.size >= 1_000_000 else f"{symbols.size} symbols: below the standard's sample size"
    )
    table.add("min-entropy", pooled, reason=small)
    table.add(
        "min-entropy",
        worst,
        reason=f"subject {who}, the least of all; the least of many is low by chance too",
    )
    facts["worst"] = who
    if disclosure.labels is None:
        reason = disclosure.problem or "the scheme does not disclose what its helper data say"
        table.skip("min-entropy", "bit", reason, method="average-given-helper")
        return None
    linear = call(scheme.name, "linear()", scheme.linear, honest.helper)
    limit = float(min(scheme.key_bits, disclosure.secret_bits))
    try:
        read, positions = read_symbols(
            symbols,
            linear.positions if len(linear.positions) == 1 else linear.positions[usable],
            bits=disclosure.labels.shape[1],
        )
    except InsufficientData as error:
        table.skip("min-entropy", "bit", str(error), method=_INDEPENDENT)
        return None
    # symbols that no block reads hold nothing of the key
    worst = worst if read is symbols else most_common.worst_subject(read, subject)[0]
    touched, unread = partly_read(positions, bits=disclosure.labels.shape[1])
    chain = given_helper.chain_bound(
        worst,
        symbols=touched,
        # a bit that no block reads may be the one that was uncertain
        parities=disclosure.block_bits[1] * disclosure.blocks + unread,
        limit=limit,
    )
    table.add("min-entropy", chain, reason="for the worst subject, if its symbols were independent")
    source: dict[str, Any] = {
        "labels": disclosure.labels,
        "parity": linear.parity,
        "positions": positions,
        "limit": limit,
    }
    independent = _independent(table, read, subject, who, linear, source)
    if independent is not None and independent.high < limit:
        facts["understated"] = given_helper.min_entropy_understated(read, subject, **source)
    found = [independent, _markov(table, read, subject, linear, source, independent, seed=seed)]
    judged = [estimate for estimate in found if estimate is not None]
    return min(judged, key=lambda estimate: estimate.value) if judged else chain


def read_symbols(symbols: Array, positions: Array, *, bits: int) -> tuple[Array, Array]:
    """The symbols that blocks read, and where they read them, alike for all attempts.

    Parameters
    ----------
    symbols : (attempts, m) int
    positions : (1 or attempts, blocks, n) int
        As in `harness.contracts.Linear`.
    bits : int
        Of a symbol.

    Returns
    -------
    symbols : (attempts, m or slots) int
        Where attempts read different symbols, those that each reads, in the order of the blocks.
    positions : (blocks, n) int

    Raises
    ------
    InsufficientData
        If attempts read different parts of symbols.
    """
    first = positions[0]
    if len(positions) == 1 or (positions == first).all():
        return symbols, first
    used = first >= 0
    if ((positions >= 0) != used).any():
        raise InsufficientData("what is left is known only where blocks are alike in all attempts")
    places = positions[:, used]  # (attempts, read bits)
    starts = places[:, ::bits]
    if (
        places.shape[1] % bits
        or (starts % bits).any()
        or (places != np.repeat(starts, bits, axis=1) + np.tile(np.arange(bits), starts.shape[1])).any()
    ):
        raise InsufficientData(
            "what is left is known only where attempts read whole symbols in their order"
        )
    aligned = np.full(first.shape, -1)
    aligned[used] = np.arange(int(used.sum()))
    return np.take_along_axis(symbols, starts // bits, axis=1), aligned


def partly_read(positions: Array, *, bits: int) -> tuple[int, int]:
    """How many symbols blocks read, whole or in part, and how many bits of these they do not read.

    Parameters
    ----------
    positions : (blocks, n) int
        As in `harness.contracts.Linear`; -1 reads nothing.
    bits : int
        Of a symbol.
    """
    read = np.unique(positions[positions >= 0])
    touched = len(np.unique(read // bits))
    return touched, touched * bits - len(read)


def _independent(
    table: Rows, symbols: Array, subject: Array, who: int, linear: Linear, source: dict[str, Any]
) -> Estimate | None:
    fitted: Callable[..., Estimate] = partial(given_helper.estimated_min_entropy, **source)
    by_person: Callable[..., tuple[Array, Array]] = partial(
        given_helper.min_entropy_by_person, **{**source, "limit": math.inf}
    )
    mine = subject == who
    try:
        exact, alone = fitted(symbols, subject), fitted(symbols[mine], subject[mine])
    except (InsufficientData, ValueError) as error:
        table.skip("min-entropy", "bit", str(error), method=_INDEPENDENT)
        return None
    exact, note = _of_secrets(exact, linear)
    said = "exact for independent symbols with the shares of all people; low where all are nearly alike"
    table.add("min-entropy", exact, reason=f"{said}{note}")
    # for comparing the same people twice; not capped by the key's length, which would hide how they differ
    table.people("min-entropy", *by_person(symbols, subject)[::-1])
    # a pooled figure hides people: half of them at .9 and half at .1 pool to uniform bits
    alone = replace(alone, method="average-given-helper-worst-subject", side=exact.side)
    table.add("min-entropy", alone, reason=f"the same with the shares of subject {who} alone{note}")
    return exact


def _markov(
    table: Rows,
    symbols: Array,
    subject: Array,
    linear: Linear,
    source: dict[str, Any],
    independent: Estimate | None,
    *,
    seed: int,
) -> Estimate | None:
    alphabet, blocks = len(source["labels"]), len(source["positions"])
    work = blocks * alphabet**2 * 2.0 ** min(len(linear.parity), 60)
    draws = int(np.clip(_WORK / work, 20, _DRAWS))

    def fitted(name: str, rows: Array) -> tuple[Estimate, float]:
        rng = stream(seed, "markov-min-entropy", name)
        return markov_min_entropy(symbols[rows], subject[rows], rng=rng, draws=draws, **source)

    try:
        every, error = fitted("all", np.ones(len(symbols), bool))
        who = most_predictable(symbols, subject, alphabet=alphabet)
        alone, own_error = fitted("worst", subject == who)
    except (InsufficientData, ValueError) as refused:
        table.skip("min-entropy", "bit", str(refused), method=_MARKOV)
        _before_helper(table, symbols, subject, source, seed=seed)
        return None
    every, note = _of_secrets(every, linear)
    alone = replace(alone, method=f"{_MARKOV}-worst-subject", side=every.side)
    p = neighbours_p_value(symbols, alphabet=alphabet, rng=stream(seed, "neighbours"))
    if p > _DEPENDENT and independent is not None:
        # a chain fitted to symbols that are independent finds habits where there are none
        every, note = replace(independent, method=_MARKOV), ""
        said = f"no dependence of neighbours was seen (p = {p:.2g}), so the figure for none stands"
    else:
        said = "each symbol depending on the one before as in all people, all blocks jointly"
        said = f"{said} (p = {p:.2g}); {_drawn(error, draws, blocks)}"
    table.add("min-entropy", every, reason=f"{said}{note}")
    table.add(
        "min-entropy",
        alone,
        reason=f"the same with the transitions of subject {who} alone, the most predictable of all; few "
        f"symbols make it look more so; {_drawn(own_error, draws, blocks)}{note}",
    )
    return every


def _before_helper(
    table: Rows, symbols: Array, subject: Array, source: dict[str, Any], *, seed: int
) -> None:
    """What the symbols hold before anything is published: where the rest is out of reach, it bounds it."""
    nothing = {
        **source,
        "parity": np.zeros((0, source["positions"].size), np.uint8),
        "positions": source["positions"].reshape(1, -1),
    }
    try:
        held, _ = markov_min_entropy(symbols, subject, rng=stream(seed, "markov-min-entropy"), **nothing)
    except (InsufficientData, ValueError):
        return  # for the reason that the row before it gives
    held = replace(held, method=f"{_MARKOV}-before-helper", side="defender-at-most")
    table.add(
        "min-entropy",
        held,
        reason="of the witness bits, each symbol depending on the one before as in all people: helper data "
        "leave no more, and how much less is out of reach for this code",
    )


def _drawn(error: float, draws: int, blocks: int) -> str:
    if blocks == 1:
        return "exact for that source"
    return f"Monte Carlo over {draws} draws of the helper data, within {error:.2g} bit for that source"


def _of_secrets(estimate: Estimate, linear: Linear) -> tuple[Estimate, str]:
    """Where several words of a block share a secret, no more is left of it than of the word."""
    basis = gf2.solver(linear.parity).basis
    secrets = gf2.product(basis, linear.secret_map.T)
    rank = secrets.shape[1] - gf2.solver(secrets).dimension
    if rank == len(basis):
        return estimate, ""
    return replace(estimate, side="defender-at-most"), "; several words lead to one secret: at most this"
