"""Keys made again: a handful of attempts cannot show a small seed."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np

from harness import validate
from harness.contracts import ABORTED
from harness.detectors.evidence import Generated
from harness.exchange import Honest, call, parts, take
from harness.streams import stream

__all__ = ["LEAST", "generations"]

LEAST = 8192
ROUNDS = 8
"""Further generations, over all witnesses (assumption: finds a seed of 2^22 with a chance of .999)."""


def generations(scheme: Any, honest: Honest, *, seed: int, least: int = LEAST) -> Generated | None:
    """At least `least` further keys of A, from the witnesses of established attempts.

    Each round runs every witness as often as makes an eighth of what is asked for, at least once, in
    another order and on a fresh copy of the scheme, so that coins that are tied to the place in a batch, or
    to a new instance, meet people to whom they do not belong.

    Parameters
    ----------
    scheme : Scheme or Interactive
        Interactive schemes run `agree` again, with B's witness of the same attempt.
    honest : Honest
    seed : int
        Names the streams of the coins.

    Returns
    -------
    Generated or None
        None if no attempt established a key. Generations that A gave up are left out.

    Raises
    ------
    ContractError
        If the scheme broke its promise.
    """
    rows = np.flatnonzero(honest.established)
    if len(rows) == 0:
        return None
    name, width = scheme.name, int(scheme.key_bits)
    keys, of = [], []
    several = np.tile(np.arange(len(rows)), max(1, least // ROUNDS // len(rows)))
    for turn in range(-(-least // len(several))):
        order = stream(seed, "detectors", "order", turn).permutation(several)
        rng = stream(seed, "detectors", "generate", turn)
        own = call(name, "__init__()", copy.deepcopy, scheme)
        a = take(honest.a, rows[order])
        if callable(getattr(scheme, "agree", None)):
            answer = call(name, "agree()", own.agree, a, take(honest.b, rows[order]), rng=rng)
            made, _, _, helper = parts(name, "agree()", answer, 4)
        else:
            answer = call(name, "generate()", own.generate, a, rng=rng)
            made, helper = parts(name, "generate()", answer, 2)
        given_up = validate.helper_data(name, helper, len(order)).get(ABORTED)
        made = validate.key_bits(name, "keys of A", made, len(order), width)
        kept = np.ones(len(order), bool) if given_up is None else ~given_up
        keys.append(made[kept])
        of.append(order[kept])
    return Generated(keys=np.concatenate(keys), row=np.concatenate(of))
