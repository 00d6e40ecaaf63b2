"""Changing helper data and watching what the device accepts.

A linear sketch's decoder fails by the difference of A's and B's words and the change alone, so that is
what accept and reject can tell, and all of it. Bits are turned over until one more would be rejected; from
there, another one that is accepted is a bit in which A and B differ. Where symbols lie near a threshold,
or errors go one way only, the difference tells of the symbol.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from attacks.levers import Levers, levers_of
from attacks.potential import PROPOSED
from attacks.quantising import quantised
from attacks.sensing import position_prior
from attacks.tampering import changeable, flipped, zeroed
from harness.contracts import DEVICE_B, Array, Belief, Device, Exchange, Helper, View

PROBES = 8  # single random changes, which a scheme that binds its helper data would notice
FEW = 20  # people's attempts below which shares of symbols are not taken apart


@dataclass(frozen=True, slots=True, kw_only=True)
class HelperTamper:
    """Sends the device changed helper data and learns where the two devices' words differ.

    Parameters
    ----------
    queries : int
        Spent on each attempt at most.
    """

    queries: int = 900
    name: str = "helper-tamper"
    sees: frozenset[str] = frozenset({"helper", "device", "population"})
    potential = PROPOSED["helper-tamper"]

    def believe(self, view: View, *, rng: np.random.Generator) -> Belief:
        if view.device is None or view.population is None or view.population.witness is None:
            raise ValueError("a device and other people's witnesses must be there, got none")
        device, helper = view.device, view.helper
        accepted = np.array(device(dict(helper)))
        if changeable(helper):
            for _ in range(PROBES):
                device(flipped(helper, 1, rng=rng))
            device(zeroed(helper))
            device(shifted(view, rng=rng))
        levers = levers_of(view.scheme, helper)
        m, alphabet = view.population.witness.symbols.shape[1], view.population.witness.alphabet
        labels = getattr(view.scheme, "labels", None)
        if levers is None or labels is None:
            prior = position_prior(view, m, alphabet)
            return Belief(log_prob=np.broadcast_to(prior, (view.attempts, m, alphabet)).copy())
        spent = PROBES + 3
        bits = m * labels.shape[1]
        differ, known = differences(device, helper, levers, accepted, bits, self.queries - spent)
        return Belief(log_prob=_told(view, view.population, labels, differ, known, accepted))


def shifted(view: View, *, rng: np.random.Generator) -> Helper:
    """The helper data of the same witness under another codeword, where binary arrays carry one."""
    known = view.population
    if known is None or known.witness is None or not callable(getattr(view.scheme, "generate", None)):
        return dict(view.helper)
    _, one = view.scheme.generate(known.witness, rng=rng)
    _, two = view.scheme.generate(known.witness, rng=rng)
    rows = np.arange(view.attempts) % len(known.witness.acquired)
    return {
        k: v ^ (one[k] ^ two[k])[rows].astype(v.dtype)
        if k != "aborted" and v.dtype.kind in "bu" and v.size and v.max() <= 1
        else v
        for k, v in view.helper.items()
    }


def differences(
    device: Device, helper: Helper, levers: Levers, accepted: Array, bits: int, queries: int
) -> tuple[Array, Array]:
    """Witness bits in which A and B differ, by accept and reject alone.

    Parameters
    ----------
    accepted : (attempts,) bool
        What the device said to the untouched helper data; other attempts tell nothing.
    bits : int
        Of a witness.
    queries : int
        At most.

    Returns
    -------
    differ, known : (attempts, bits) bool
    """
    rows = len(accepted)
    differ, known = np.zeros((2, rows, bits), bool)
    blocks, n = levers.positions.shape
    for block in range(blocks):
        if queries < 2 * n:
            break
        edge, at_edge, asked = _edge(device, helper, levers, block, accepted)
        queries -= asked
        if not at_edge.any():  # this decoder never fails, so it will not in other blocks either
            break
        found = np.zeros((rows, n), bool)
        for place in range(n):
            trial = edge.copy()
            trial[:, place] ^= True
            found[:, place] = device(levers.pulled(helper, block, trial))
        queries -= n
        # at its edge a decoder accepts as many changes as it corrects; a check on all accepts none
        told = at_edge & found.any(axis=1)
        if not told.any():
            break
        used = levers.positions[block] >= 0
        place = levers.positions[block][used]
        differ[np.ix_(told, place)] = (found ^ edge)[told][:, used]
        known[np.ix_(told, place)] = True
    return differ, known


def _edge(
    device: Device, helper: Helper, levers: Levers, block: int, accepted: Array
) -> tuple[Array, Array, int]:
    """Bits turned over, one more of which is rejected; where that was reached; queries spent."""
    rows, n = len(accepted), levers.positions.shape[1]
    edge, there = np.zeros((rows, n), bool), ~accepted
    for place in range(n):
        trial = edge.copy()
        trial[:, place] |= ~there
        kept = np.asarray(device(levers.pulled(helper, block, trial)))
        moving = ~there & kept
        edge[moving] = trial[moving]
        there |= ~kept
        if there.all():
            return edge, there & accepted, place + 1
    return edge, there & accepted, n


def _told(
    view: View, people: Exchange, labels: Array, differ: Array, known: Array, accepted: Array
) -> Array:
    """Natural logs (attempts, m, alphabet): prior times how often a symbol shows such a difference."""
    true = people.witness
    if true is None:
        raise ValueError("`population` must hold other people's witnesses, got none")
    theirs = quantised(view.scheme, people.captures[DEVICE_B])
    both = theirs.acquired & true.acquired
    answer: tuple[Array, Array] = view.scheme.reproduce(theirs, people.helper)
    took = np.asarray(answer[1] & both)
    weights = 1 << np.arange(labels.shape[1])
    names = (labels[true.symbols] ^ labels[theirs.symbols]) @ weights  # (people, m) kind of difference
    kinds, q = 1 << labels.shape[1], true.alphabet
    cells = true.symbols[took].astype(np.intp) * kinds + names[took]
    joint = np.bincount(cells.ravel(), minlength=q * kinds)
    given = joint.reshape(q, kinds) + 1.0 / kinds
    given /= given.sum(axis=1, keepdims=True)
    rows, m = len(differ), true.symbols.shape[1]
    kind = differ.reshape(rows, m, -1) @ weights
    whole = np.asarray(known.reshape(rows, m, -1).all(axis=2))
    told = np.zeros((rows, m, q))
    told += _share(true.symbols, q)
    for outcome, rest in ((accepted, took), (~accepted, both & ~took)):
        if rest.sum() >= FEW:
            told[outcome] = _share(true.symbols[rest], q)
    told += np.where(whole[:, :, None], np.log(given.T[kind]), 0.0)
    return np.asarray(told - np.log(np.exp(told).sum(axis=2, keepdims=True)))


def _share(symbols: Array, alphabet: int) -> Array:
    """Natural logs of the shares of symbols, wherever they stand."""
    counts = np.bincount(symbols.ravel(), minlength=alphabet) + 1.0
    return np.asarray(np.log(counts / counts.sum()))
