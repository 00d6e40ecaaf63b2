"""People to check a plug-in on: a corpus if one is given, else a registered one that has its signal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from harness.checks.noise import Noise
from harness.contracts import DEVICE_A, DEVICE_B, Corpus
from harness.exchange import signal_of
from harness.plugins import names, resolve

__all__ = ["chosen_people", "given_people", "serves"]

SIZE: Mapping[str, int] = {"subjects": 4, "sessions": 2, "attempts": 3}


def chosen_people(scheme: Any, corpus: Any, *, seed: int) -> Corpus:
    """A small corpus that holds what the scheme reads.

    Parameters
    ----------
    corpus : Corpus, name or path, optional
        None: the first registered corpus with the scheme's signals; if there is none, plain noise.
    """
    if corpus is not None:
        return given_people(corpus, seed=seed)
    for name in names("corpus"):
        found: Corpus = resolve("corpus", name, seed=seed, **SIZE).value
        if serves(found, scheme):
            return found
    signals = (signal_of(scheme, DEVICE_A), signal_of(scheme, DEVICE_B))
    return Noise(
        signals=signals,
        seed=seed,
        subjects=SIZE["subjects"],
        sessions=SIZE["sessions"],
        attempts=SIZE["attempts"],
    )


def given_people(corpus: Any, *, seed: int) -> Corpus:
    """A corpus that is given: an object, a registered name, or the path of a manifest."""
    from harness.choosing import chosen_corpus

    return chosen_corpus(corpus, seed=seed, **SIZE)


def serves(corpus: Corpus, scheme: Any) -> bool:
    """Does it record what both devices read?"""
    wanted = {f"{role}:{signal_of(scheme, role)}" for role in (DEVICE_A, DEVICE_B)}
    return any(wanted <= sitting.streams for sitting in corpus.sittings())
