"""Predictors, distances and stretches of NIST SP 800-90B (2018) section 6.3, one symbol after the other.

Written as the standard tells them, to hold the fast ones against. Symbols are lists of int.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict

__all__ = [
    "block_distances",
    "collision_times",
    "counting_right",
    "lag_right",
    "lz78y_right",
    "pairs_of_length",
    "stretch_counts",
    "window_right",
]


class Board:
    """Scores of several predictors and who is in charge."""

    def __init__(self, members: int) -> None:
        self.scores, self.winner = [0] * members, 0

    def judge(self, forecasts: list[int | None], came: int) -> bool:
        right = forecasts[self.winner] == came
        for j, forecast in enumerate(forecasts):
            if forecast == came:
                self.scores[j] += 1
                if self.scores[j] >= self.scores[self.winner]:
                    self.winner = j
        return right


def window_right(s: list[int], windows: tuple[int, ...]) -> list[bool]:
    board, right = Board(len(windows)), []
    counts = [Counter[int]() for _ in windows]
    last: dict[int, int] = {}
    for i in range(len(s)):
        if i >= windows[0]:
            forecasts = [
                max(c, key=lambda y: (c[y], last[y])) if i >= w else None
                for c, w in zip(counts, windows, strict=True)
            ]
            right.append(board.judge(forecasts, s[i]))
        for c, w in zip(counts, windows, strict=True):
            c[s[i]] += 1
            if i >= w:
                c[s[i - w]] -= 1
        last[s[i]] = i
    return right


def lag_right(s: list[int], lags: int) -> list[bool]:
    board = Board(lags)
    return [
        board.judge([s[i - d] if d <= i else None for d in range(1, lags + 1)], s[i])
        for i in range(1, len(s))
    ]


def most_frequent(counts: dict[int, int] | None) -> int | None:
    """The greatest of the most frequent."""
    if not counts:
        return None
    most = max(counts.values())
    return max(y for y, c in counts.items() if c == most)


def counting_right(s: list[int], depth: int, entries: int) -> list[bool]:
    board, right = Board(depth), []
    models: list[dict[tuple[int, ...], dict[int, int]]] = [defaultdict(dict) for _ in range(depth)]
    sizes = [0] * depth
    for i in range(2, len(s)):
        forecasts = []
        for d in range(1, depth + 1):
            model = models[d - 1]
            if d < i:  # d + 1 symbols stand before this one
                followed = model[tuple(s[i - d - 1 : i - 1])]
                if s[i - 1] in followed:
                    followed[s[i - 1]] += 1
                elif sizes[d - 1] < entries:
                    followed[s[i - 1]] = 1
                    sizes[d - 1] += 1
            forecasts.append(most_frequent(model.get(tuple(s[i - d : i]))) if d <= i else None)
        right.append(board.judge(forecasts, s[i]))
    return right


def lz78y_right(s: list[int], longest: int, entries: int) -> list[bool]:
    book: dict[tuple[int, ...], dict[int, int]] = {}
    right = []
    for i in range(longest + 1, len(s)):
        for j in range(longest, 0, -1):
            stretch = tuple(s[i - j - 1 : i - 1])
            if stretch not in book and len(book) < entries:
                book[stretch] = {}
            if stretch in book:
                book[stretch][s[i - 1]] = book[stretch].get(s[i - 1], 0) + 1
        forecast, most = None, 0
        for j in range(longest, 0, -1):
            followed = book.get(tuple(s[i - j : i]))
            y = most_frequent(followed)
            if followed is not None and y is not None and followed[y] > most:
                forecast, most = y, followed[y]
        right.append(forecast == s[i])
    return right


def collision_times(s: list[int]) -> list[int]:
    times, start = [], 0
    while True:
        seen = set()
        for j in range(start, len(s)):
            if s[j] in seen:
                times.append(j - start + 1)
                start = j + 1
                break
            seen.add(s[j])
        else:
            return times


def block_distances(s: list[int], block: int, initial: int) -> list[int]:
    blocks = [tuple(s[i : i + block]) for i in range(0, len(s) - block + 1, block)]
    last: dict[tuple[int, ...], int] = {}
    distances = []
    for i, word in enumerate(blocks, start=1):
        if i > initial:
            distances.append(i - last.get(word, 0))
        last[word] = i
    return distances


def stretch_counts(s: list[int], length: int) -> list[int]:
    return list(Counter(tuple(s[i : i + length]) for i in range(len(s) - length + 1)).values())


def pairs_of_length(s: list[int], length: int) -> int:
    return sum(math.comb(c, 2) for c in stretch_counts(s, length))
