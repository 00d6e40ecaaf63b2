"""Beliefs about symbols as beliefs about their bits, and back."""

from __future__ import annotations

import numpy as np
from scipy.special import log_softmax, logsumexp

from harness.contracts import Array

__all__ = ["bit_odds", "with_word"]

_MOST = 15.0  # log-odds of a bit that is sure


def bit_odds(log_prob: Array, labels: Array) -> Array:
    """Log-odds of the bits of symbols, each by itself.

    Parameters
    ----------
    log_prob : float, shape (attempts, m, alphabet)
        Natural logs.
    labels : uint8, shape (alphabet, bits)

    Returns
    -------
    float, shape (attempts, m * bits)
        log P(bit = 1) / P(bit = 0), between -15 and 15.
    """
    found = np.empty((*log_prob.shape[:2], labels.shape[1]))
    for bit, ones in enumerate(labels.T == 1):
        with np.errstate(divide="ignore", invalid="ignore"):
            up, down = (
                logsumexp(log_prob[:, :, some], axis=2) if some.any() else -np.inf for some in (ones, ~ones)
            )
            found[:, :, bit] = np.nan_to_num(up - down, nan=0.0, posinf=_MOST, neginf=-_MOST)
    return np.clip(found, -_MOST, _MOST).reshape(len(log_prob), -1)


def with_word(log_prob: Array, labels: Array, told: Array, word: Array) -> Array:
    """Beliefs about symbols with what was told of their bits, a given word being the likeliest.

    Parameters
    ----------
    log_prob : float, shape (attempts, m, alphabet)
    labels : uint8, shape (alphabet, bits)
    told : float, shape (attempts, read)
        Log-odds to be added, of the first bits; nothing is told of others.
    word : uint8, shape (attempts, read)
        Values of the first bits. Where no symbol has them its beliefs stay as they were told.

    Returns
    -------
    float, shape (attempts, m, alphabet)
        Normalised natural logs.
    """
    attempts, m, _ = log_prob.shape
    width = labels.shape[1]
    beyond = m * width - word.shape[1]
    added = np.pad(told, ((0, 0), (0, beyond))).reshape(attempts, m, width)
    wanted = np.pad(word.astype(np.int8), ((0, 0), (0, beyond)), constant_values=-1)
    wanted = wanted.reshape(attempts, m, 1, width)
    found = log_softmax(log_prob + added @ labels.T.astype(float), axis=2)
    fits = ((wanted == labels) | (wanted < 0)).all(axis=3)
    place = np.where(fits, np.maximum(found, np.finfo(float).min), -np.inf).argmax(axis=2)[..., None]
    best = found.argmax(axis=2)[..., None]
    place = np.where(fits.any(axis=2, keepdims=True), place, best)
    # the word's symbol and the likeliest change places: the probabilities stay what they are
    here, there = (np.take_along_axis(found, at, axis=2) for at in (place, best))
    np.put_along_axis(found, best, here, axis=2)
    np.put_along_axis(found, place, there, axis=2)
    return np.asarray(found)
