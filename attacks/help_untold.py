"""What published arrays of which the scheme says nothing tell of A's symbols, place by place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from attacks.assisting import read_with_help
from attacks.channels import learned_channel, part, regression, symbol_table
from attacks.help_alone import unseen
from attacks.learned_channels import boosted_trees, estimated
from harness.contracts import ABORTED, Array, Helper, View, Witness
from harness.effects import arrays_that_matter
from harness.optional_parts import Assisting

__all__ = ["told_by_arrays"]

MOST_FOR_EACH = 4  # numbers for one symbol: larger arrays are taken for something else


def told_by_arrays(view: View, *, rng: np.random.Generator) -> Array | None:
    """Natural logs of how much likelier untold arrays make each value of a symbol, as learned from others.

    Levels of reliability, distances, second quantisers: helper data with a number or a few for every
    symbol, which are there for device B and lean with the symbol. Arrays that matter to the disclosure are
    left to it, and those that matter to reading with help to `told_by_help`.

    Parameters
    ----------
    view : View
        With helper data, and a population whose witnesses are known.
    rng : numpy.random.Generator

    Returns
    -------
    (attempts, m, alphabet) float, or None
        To be added to what is believed without; None where there is no such array.
    """
    learned = view.population
    true = learned.witness if learned else None
    if learned is None or true is None or not true.acquired.any():
        return None
    m, usable = true.symbols.shape[1], np.flatnonzero(true.acquired)
    names = _untold(view.scheme, view.helper, part(true, usable))
    if not names:
        return None
    some = part(true, usable)
    seen = _numbers(view.helper, names, m, some)
    known = part(_numbers(learned.helper, names, m, some), usable)
    channel = learned_channel(
        known,
        some,
        learned.subject[usable],
        rng=rng,
        makers=(
            lambda s, t, _: symbol_table(s, t),
            lambda s, t, r: regression(s, t, r, neighbours=0),
            lambda s, t, r: estimated(s, t, r, estimator=boosted_trees()),
        ),
    )
    counts = np.bincount(some.symbols.ravel(), minlength=some.alphabet) + 1.0
    return np.asarray(channel(seen) - np.log(counts / counts.sum()))


def _untold(scheme: Any, helper: Helper, known: Witness) -> list[str]:
    """Arrays with one to a few numbers for every symbol that nothing else of this attack reads."""
    m, read = known.symbols.shape[1], set[str]()
    if callable(getattr(scheme, "linear", None)):
        read |= arrays_that_matter(_disclosed(scheme), helper)
    if isinstance(scheme, Assisting) and known.features is not None:
        usual = known.features.mean(axis=0)
        read |= arrays_that_matter(_assisted(scheme, usual, known.alphabet), helper)
    return [
        name
        for name, array in sorted(helper.items())
        if name not in read
        and name != ABORTED
        and len(array)
        and array[0].size % m == 0
        and 1 <= array[0].size // m <= MOST_FOR_EACH
    ]


def _disclosed(scheme: Any) -> Callable[[Helper], tuple[Array, ...]]:
    def told(helper: Helper) -> tuple[Array, ...]:
        said = scheme.linear(helper)
        return (np.asarray(said.positions), said.parity, said.syndrome, said.secret_offset)

    return told


def _assisted(scheme: Any, usual: Array, alphabet: int) -> Callable[[Helper], tuple[Array, ...]]:
    def told(helper: Helper) -> tuple[Array, ...]:
        rows = len(next(iter(helper.values())))
        read = read_with_help(scheme, unseen(usual, alphabet, rows), helper)
        return () if read is None or read.features is None else (read.symbols, read.features)

    return told


def _numbers(helper: Helper, names: list[str], m: int, like: Witness) -> Witness:
    """The arrays as features of symbols that nobody has seen."""
    rows = len(helper[names[0]])
    numbers = np.concatenate([helper[n].reshape(rows, m, -1).astype(float) for n in names], axis=2)
    return Witness(
        symbols=np.zeros((rows, m), np.uint8),
        alphabet=like.alphabet,
        acquired=np.ones(rows, bool),
        features=np.where(np.isfinite(numbers), numbers, 0.0),
    )
