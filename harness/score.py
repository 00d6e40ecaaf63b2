"""The only place where guesses meet keys.

An attack hands over a belief or a list of guesses; here it is sharpened with the public
helper data, ranked against the key that A really held, and compared with what a guesser without
any view would have believed.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from harness import validate
from harness.best_first import by_best_first
from harness.contracts import Array, Belief, Guesses, Helper, Witness
from harness.decoding import block_words, enumerable, secret_ranks, witness_bits
from harness.effects import arrays_that_matter
from harness.errors import ContractError
from harness.exchange import Honest, call, parts
from harness.gf2 import product
from harness.logs import Logged
from harness.ordered_statistics import after_own_decoder, ordered_statistics
from harness.ranking import Ranks, concatenate, on_grid, product_ranks
from harness.surprise import expected_surprise, symbol_surprise

__all__ = ["Disclosure", "Scores", "disclosure_of", "gives_keys", "judge"]

ORDERED_STATISTICS = "ordered-statistics"
WHOLE_WITNESS = "whole-witness"


@dataclass(frozen=True, slots=True)
class Disclosure:
    """What a scheme tells of its helper data, verified on the honest runs."""

    labels: Array | None  # (alphabet, bits); None: nothing usable
    problem: str | None  # why a disclosure is not used
    uncovered: tuple[str, ...]  # helper arrays that neither `linear` nor `finish` reads
    enumerable: bool = False
    secret_bits: int = 0
    block_bits: tuple[int, int] = (0, 0)  # witness bits in a block, and parities published for it
    code_length: int = 0
    blocks: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """One attack, judged on some rows (attempt x attacker)."""

    attempt: Array  # (rows,) int: index into Honest
    attacker: Array  # (rows,) int
    ranks: Ranks
    method: str  # how the rank was found
    gain: Array | None  # (rows,) bits per symbol over the prior; None if not about the witness
    right: Array | None = None  # (rows,) share of bits that the likeliest symbols, or key bits, have right
    likely: Array | None = None  # (rows, m) uint8: the likeliest symbols, without helper data
    surprise_a: Array | None = None  # (rows,) bits per symbol, at A's symbols, without helper data
    doubt: Array | None = None  # (rows,) bits per symbol of surprise that the belief itself expects
    surprise_b: Array | None = None  # and at B's; NaN where B acquired nothing
    cross: tuple[
        Array, ...
    ] = ()  # per subject, (attempts, attempts): gain of beliefs about i on j's symbols


def disclosure_of(scheme: Any, honest: Honest) -> Disclosure:
    """Read a scheme's disclosure and check it against what A really did.

    Every established attempt must satisfy ``parity @ bits == syndrome`` and
    ``finish(secret_map @ bits ^ secret_offset) == key``; one that does not is not used.
    """
    names = tuple(sorted(set(honest.helper) - {"aborted"}))
    if not all(hasattr(scheme, m) for m in ("labels", "linear", "finish")):
        return Disclosure(None, None, names)
    name, rows = scheme.name, honest.established
    own = copy.deepcopy(scheme)
    try:
        labels = validate.bits(name, "labels", own.labels, (honest.a.alphabet, None))
        width = honest.a.symbols.shape[1] * labels.shape[1]
        linear = validate.linear(
            name, call(name, "linear()", own.linear, honest.helper), honest.attempts, width
        )
        words = block_words(witness_bits(honest.a.symbols, labels), linear.positions)
        secret = product(words, linear.secret_map.T) ^ linear.secret_offset
        keys = call(name, "finish()", own.finish, secret.reshape(honest.attempts, -1), honest.helper)
        keys = validate.key_bits(name, "finish()", keys, honest.attempts, int(scheme.key_bits))
        matter = arrays_that_matter(_told_by(name, own, secret), honest.helper)
    except ContractError as error:
        return Disclosure(None, str(error), names)
    if (product(words, linear.parity.T) != linear.syndrome)[rows].any():
        return Disclosure(
            None, f"{name}: `linear()` must give the syndromes of A's witness, got others", names
        )
    if (keys != honest.keys_a)[rows].any():
        return Disclosure(None, f"{name}: `finish()` must give A's keys, got others", names)
    used = (linear.positions[0] >= 0).sum(axis=1).max()
    return Disclosure(
        labels=labels,
        problem=None,
        uncovered=tuple(sorted(set(names) - matter)),
        enumerable=enumerable(linear),
        secret_bits=secret.shape[1] * secret.shape[2],
        block_bits=(int(used), linear.parity.shape[0]),
        code_length=linear.parity.shape[1],
        blocks=linear.positions.shape[1],
    )


def _told_by(name: str, scheme: Any, secret: Array) -> Callable[[Helper], tuple[Array, ...]]:
    """What a disclosure says, as a function of the helper data alone."""
    whole = secret.reshape(len(secret), -1)

    def told(helper: Helper) -> tuple[Array, ...]:
        said = call(name, "linear()", scheme.linear, helper)
        keys = call(name, "finish()", scheme.finish, whole, helper)
        return np.asarray(said.positions), np.asarray(said.syndrome), np.asarray(said.secret_offset), keys

    return told


def judge(
    outcome: Belief | Guesses,
    scheme: Any,
    honest: Honest,
    disclosure: Disclosure,
    *,
    attempt: Array,
    attacker: Array,
    prior: Array,
) -> Scores:
    """Rank A's true key under what an attack believes.

    Parameters
    ----------
    outcome : Belief or Guesses
        Validated, one row for each of `attempt`.
    disclosure : Disclosure
        From `disclosure_of`.
    attempt, attacker : (rows,) int
    prior : (m, alphabet)
        What the gain of a belief is measured against, from `symbol_prior` of other people.

    Raises
    ------
    ContractError
        If the scheme fails while it is attacked.
    """
    keys = honest.keys_a[attempt]
    if isinstance(outcome, Guesses):
        return Scores(
            attempt=attempt, attacker=attacker, ranks=_listed(outcome, keys), method="guess-list", gain=None
        )
    if outcome.about == "key":
        costs = [-on_grid(outcome.log_prob[:, i]) for i in range(keys.shape[1])]
        ranks = _with_work(product_ranks(costs, keys.astype(np.intp)), outcome.work)
        right = (outcome.log_prob.argmax(axis=2) == keys).mean(axis=1)
        return Scores(
            attempt=attempt, attacker=attacker, ranks=ranks, method="key-bits", gain=None, right=right
        )
    symbols = honest.a.symbols[attempt]
    gain, cross = _gains(outcome.log_prob, prior, symbols, honest.subject[attempt], attempt)
    helper = {k: v[attempt] for k, v in honest.helper.items()}
    if disclosure.labels is not None:
        own = copy.deepcopy(scheme)
        linear = call(scheme.name, "linear()", own.linear, helper)
        linear = validate.linear(
            scheme.name, linear, len(attempt), symbols.shape[1] * disclosure.labels.shape[1]
        )
        if disclosure.enumerable:
            ranks, method = (
                secret_ranks(outcome.log_prob, disclosure.labels, linear, symbols),
                "enumerated-blocks",
            )
        else:
            ranks = ordered_statistics(outcome.log_prob, disclosure.labels, linear, symbols)
            if callable(getattr(scheme, "reproduce", None)):
                ranks = after_own_decoder(ranks, *_own_decoder(outcome.log_prob, scheme, helper, keys))
            method = ORDERED_STATISTICS
    elif callable(getattr(scheme, "reproduce", None)):
        ranks, method = by_best_first(outcome.log_prob, scheme, helper, keys)
    elif gives_keys(scheme):
        costs = [-on_grid(outcome.log_prob[:, i]) for i in range(symbols.shape[1])]
        ranks, method = product_ranks(costs, symbols.astype(np.intp)), WHOLE_WITNESS
        if helper or not np.array_equal(symbols, keys):
            ranks = _at_most(ranks)
    else:
        raise ContractError(
            scheme.name,
            "linear()",
            "disclosed, or `reproduce()` present, for witnesses to be tried",
            "neither",
        )
    likely = outcome.log_prob.argmax(axis=2).astype(np.uint8)
    surprise_a, surprise_b = symbol_surprise(outcome.log_prob, honest, attempt)
    return Scores(
        attempt=attempt,
        attacker=attacker,
        ranks=_with_work(ranks, outcome.work),
        method=method,
        gain=gain,
        right=_right(likely, symbols, disclosure.labels),
        likely=likely,
        surprise_a=surprise_a,
        doubt=expected_surprise(outcome.log_prob),
        surprise_b=surprise_b,
        cross=cross,
    )


def gives_keys(scheme: Any) -> bool:
    """Whether a witness gives a key without a disclosure: by running B, or in a log of a one-way scheme."""
    return callable(getattr(scheme, "reproduce", None)) or (isinstance(scheme, Logged) and scheme.one_way)


def _at_most(ranks: Ranks) -> Ranks:
    """Ranks of which only the upper end is known: with a decoder the key may stand anywhere before it."""
    nothing = np.zeros_like(ranks.fewer_low)
    return replace(ranks, fewer_low=nothing, upto_low=nothing + 1, surprise=np.full(len(nothing), np.nan))


def _right(likely: Array, symbols: Array, labels: Array | None) -> Array:
    """Share of witness bits (of symbols, if nothing says their bits) that the likeliest have right."""
    if labels is None:
        return np.asarray((likely == symbols).mean(axis=1))
    return np.asarray((labels[likely] == labels[symbols]).mean(axis=(1, 2)))


def _with_work(ranks: Ranks, work: float) -> Ranks:
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high", "surprise")
    return Ranks(**{n: getattr(ranks, n) for n in names}, work=work)


def _listed(guesses: Guesses, keys: Array) -> Ranks:
    """Place in an attack's own list; a key that is not in it is never reached."""
    equal = (guesses.keys == keys[:, None, :]).all(axis=2)
    place = np.where(equal.any(axis=1), equal.argmax(axis=1).astype(float), np.inf)
    return Ranks(
        fewer_low=place,
        fewer_high=place,
        upto_low=place + 1,
        upto_high=place + 1,
        surprise=np.full(len(keys), np.nan),
        work=guesses.work,
    )


def _gains(
    log_prob: Array, prior: Array, symbols: Array, subject: Array, attempt: Array
) -> tuple[Array, tuple[Array, ...]]:
    """Bits per symbol that a belief adds to the prior, on its own and on its subject's other attempts.

    Several attackers on one attempt are added up: their views may resemble each other, so that a shuffle
    which parts them would not be a fair null.
    """
    m = symbols.shape[1]
    place = np.arange(m)
    ratio = (
        np.maximum(log_prob, -1e3) - prior
    )  # a belief that rules out the truth loses a lot, not everything
    own = ratio[np.arange(len(symbols))[:, None], place, symbols].mean(axis=1) / np.log(2)
    tables = []
    for person in np.unique(subject):
        rows = np.flatnonzero(subject == person)
        _, first, index = np.unique(attempt[rows], return_index=True, return_inverse=True)
        told = np.zeros((len(first), *ratio.shape[1:]))
        np.add.at(told, index, ratio[rows])
        table = np.stack([told[:, place, symbols[r]].mean(axis=1) for r in rows[first]], axis=1)
        tables.append(table / np.log(2))
    return own, tuple(tables)


def _own_decoder(log_prob: Array, scheme: Any, helper: Helper, keys: Array) -> tuple[Array, Array]:
    """Where the attacker's copy of the scheme accepts the likeliest witness, and where its key is A's."""
    likely = log_prob.argmax(axis=2).astype(np.uint8)
    witness = Witness(symbols=likely, alphabet=log_prob.shape[2], acquired=np.ones(len(likely), bool))
    own = copy.deepcopy(scheme)
    found = call(scheme.name, "reproduce()", own.reproduce, witness, helper)
    answer, accepted = parts(scheme.name, "reproduce()", found, 2)
    guessed = validate.key_bits(scheme.name, "keys of B", answer, len(likely), keys.shape[1])
    kept = validate.accepted_flags(scheme.name, accepted, len(likely))
    return kept, (guessed == keys).all(axis=1)


def _one_method(methods: list[str]) -> str:
    """How ranks were found, where not all in one way: modelled if any were."""
    if ORDERED_STATISTICS in methods:
        return ORDERED_STATISTICS
    return methods[0] if len(set(methods)) == 1 else "mixed"


def merge(parts: list[Scores]) -> Scores:
    """Scores of all folds as one, in the order of attempts."""
    attempt = np.concatenate([p.attempt for p in parts])
    order = np.lexsort((np.concatenate([p.attacker for p in parts]), attempt))
    ranks = concatenate([p.ranks for p in parts])
    names = ("fewer_low", "fewer_high", "upto_low", "upto_high", "surprise")

    def whole(arrays: list[Array | None]) -> Array | None:
        known = [a for a in arrays if a is not None]
        return np.concatenate(known)[order] if len(known) == len(arrays) else None

    return Scores(
        attempt=attempt[order],
        attacker=np.concatenate([p.attacker for p in parts])[order],
        ranks=Ranks(**{n: getattr(ranks, n)[order] for n in names}, work=ranks.work),
        method=_one_method([p.method for p in parts]),
        gain=whole([p.gain for p in parts]),
        right=whole([p.right for p in parts]),
        likely=whole([p.likely for p in parts]),
        surprise_a=whole([p.surprise_a for p in parts]),
        doubt=whole([p.doubt for p in parts]),
        surprise_b=whole([p.surprise_b for p in parts]),
        cross=tuple(table for p in parts for table in p.cross),
    )
