"""Attempts of one day, device pair, condition or declared group: attacked, or learned from.

All attempts are run and all attacks face the same exchanges; a stratum decides whose keys count, and which
other people's attempts an adversary may learn from.
"""

from __future__ import annotations

import difflib
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from harness.contracts import Array
from harness.errors import UsageError
from harness.exchange import Honest

__all__ = ["KINDS", "Chosen", "chosen", "marked", "owners_label", "values_of"]

KINDS = ("day", "devices", "condition", "group")


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Which attempts are attacked, and which are learned from: (kind, label) each."""

    attacked: tuple[str, str]
    taught: tuple[str, str]

    @property
    def facts(self) -> dict[str, str]:
        """For the record."""
        return {"attacked": "=".join(self.attacked), "learned from": "=".join(self.taught)}

    def digest(self, corpus: Any) -> str:
        """SHA-256 (hex) of the corpus and of what is chosen of it: a part must not pass for the whole."""
        return hashlib.sha256(json.dumps([corpus.digest(), self.facts]).encode()).hexdigest()


def chosen(stratum: str | None, learn_from: str | None) -> Chosen | None:
    """Read ``kind=label``; who is not told what to learn from learns from the stratum that is attacked.

    Raises
    ------
    UsageError
        If a text is no such pair, or only `learn_from` is given.
    """
    if stratum is None:
        if learn_from is not None:
            raise UsageError(
                f"what is learned from needs a stratum that is attacked, got {learn_from!r} alone"
            )
        return None
    attacked = _pair(stratum)
    return Chosen(attacked=attacked, taught=attacked if learn_from is None else _pair(learn_from))


def _pair(text: str) -> tuple[str, str]:
    kind, equals, label = text.partition("=")
    if not equals or not label:
        raise UsageError(f"a stratum must read KIND=LABEL, as in condition=rest, got {text!r}")
    if kind not in KINDS:
        near = difflib.get_close_matches(kind, KINDS, n=1, cutoff=0)[0]
        raise UsageError(f"a stratum must be by {', '.join(KINDS)}, got {kind!r}; the nearest is {near!r}")
    return kind, label


def owners_label(kind: str, a: Mapping[str, str], b: Mapping[str, str]) -> str | None:
    """What both devices' rows say of an attempt; None if neither says anything.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    a, b : mapping
        "day", "device", "condition" and "group", as far as they are stated.
    """
    if kind != "devices":
        return a.get(kind) or b.get(kind)
    pair = [a.get("device"), b.get("device")]
    return " and ".join(x or "not stated" for x in pair) if any(pair) else None


def values_of(corpus: Any, kind: str) -> list[str]:
    """Labels of a kind that some attempt has, sorted.

    Raises
    ------
    UsageError
        If the corpus names none.
    """
    _pair(f"{kind}=any")
    found: set[str] = set()
    if callable(getattr(corpus, "labels", None)):
        for sitting in corpus.sittings():
            found |= {label for label in corpus.labels(sitting, kind) if label is not None}
    if not found:
        raise UsageError(f"{corpus.name} names no {kind}, so that nothing can be told apart by it")
    return sorted(found)


def marked(honest: Honest, corpus: Any, wanted: Chosen) -> Honest:
    """The runs, with what is attacked and what is learned from.

    Raises
    ------
    UsageError
        If no attempt has a label.
    """
    masks = {}
    for kind, label in {wanted.attacked, wanted.taught}:
        known = values_of(corpus, kind)
        if label not in known:
            raise UsageError(
                f"{corpus.name} must hold attempts of {kind} {label!r}, found {', '.join(known)}"
            )
        masks[kind, label] = _mask(honest, corpus, kind, label)
    return replace(honest, attacked=masks[wanted.attacked], teaching=masks[wanted.taught])


def _mask(honest: Honest, corpus: Any, kind: str, label: str) -> Array:
    sittings = corpus.sittings()
    found = np.zeros(honest.attempts, bool)
    for index in np.unique(honest.sitting):
        rows = np.flatnonzero(honest.sitting == index)
        labels = np.array([x == label for x in corpus.labels(sittings[index], kind)])
        found[rows] = labels[honest.local[rows]]
    return found
