"""A recorded corpus: files named by a manifest, behind the face that simulated ones have."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, MutableMapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from harness.contracts import DEVICE_A, DEVICE_B, Array, Capture, Sensed, Sitting
from harness.errors import CorpusError
from harness.recordings.files import open_below
from harness.recordings.manifest import Row
from harness.recordings.persons import Persons
from harness.recordings.piece import Piece
from harness.recordings.pieces import Cut
from harness.recordings.plausible import Plausible
from harness.recordings.provenance import assumed_of, kind_of_data
from harness.recordings.reading import content_digest, each_cut
from harness.recordings.roster import Roster
from harness.strata import owners_label

__all__ = ["MANIFEST", "RecordedCorpus", "lies_in_files"]

MANIFEST = "manifest.csv"
_OWNERS_SAY = ("day", "device", "condition", "group")
MAX_STREAM_BYTES = 2**31  # one stream of one sitting, its rows padded to equal length


@dataclass(frozen=True, slots=True, eq=False)
class RecordedCorpus:
    """People and what was recorded of them; made by `harness.recordings.open_corpus`.

    Files are opened anew at every call, so that the corpus can be pickled to a worker.
    """

    name: str
    _folder: Path
    _label: str  # how messages call the manifest
    _manifest: str  # SHA-256 (hex) of the manifest
    _files: tuple[str, ...]
    _roster: Roster
    _digests: dict[str, str] = field(default_factory=dict)  # of the files that were read so far

    @property
    def data(self) -> str:
        """ "recorded": the people are real; "simulated": the folder says that they are not."""
        return kind_of_data(self._folder)

    def sittings(self) -> Sequence[Sitting]:
        """Return every subject's sessions that have usable attempts, sorted by subject and session."""
        return self._roster.sittings

    def block(self, sitting: Sitting, streams: frozenset[str]) -> Mapping[str, Sensed]:
        """Return the asked-for streams of one sitting, by "role:signal"; only those that it has.

        Raises
        ------
        ValueError
            If the sitting is not one of this corpus.
        CorpusError
            If a file that it needs is damaged.
        """
        pieces = self._roster.pieces.get((sitting.subject, sitting.session))
        if pieces is None:
            raise ValueError(
                f"`sitting` must be one of corpus {self.name!r}, "
                f"got subject {sitting.subject}, session {sitting.session}"
            )
        wanted = [piece for piece in pieces if piece.row.stream in streams]
        parts: dict[int, tuple[Array, float | None]] = {}
        cells: Counter[str] = Counter()
        for piece, found in self._read(wanted):
            parts[id(piece)] = found.samples, found.rate_hz
            cells[piece.row.stream] += found.samples.size
            self._check_size(piece.row, cells[piece.row.stream])
        grouped: dict[str, list[Piece]] = defaultdict(list)
        for piece in wanted:
            grouped[piece.row.stream].append(piece)
        return {
            stream: self._sensed(own, [parts[id(piece)] for piece in own])
            for stream, own in grouped.items()
        }

    def check(self) -> None:
        """Read every file once and refuse the corpus if anything in it is damaged.

        Raises
        ------
        CorpusError
            On the first violation, in the order of the file names.
        """
        shapes: dict[str, tuple[Row, int, float | None]] = {}
        longest: dict[tuple[int, int, str], int] = defaultdict(int)
        persons, plausible = Persons(self._label), Plausible(self._label)
        for piece, found in self._read(self.pieces(), digests=self._digests):
            row, samples = piece.row, found.samples
            other, channels, first_rate = shapes.setdefault(row.stream, (row, len(samples), found.rate_hz))
            self._check_alike(other, channels, first_rate, row, len(samples), found.rate_hz)
            persons.see(row, found.person)
            plausible.see(row, samples)
            key = (piece.subject, piece.session, row.stream)
            longest[key] = max(longest[key], samples.shape[1])
        plausible.judge()
        for group in self._roster.pieces.values():
            counted: dict[str, list[Piece]] = defaultdict(list)
            for piece in group:
                counted[piece.row.stream].append(piece)
            for stream, own in counted.items():
                width = longest[own[0].subject, own[0].session, stream]
                self._check_size(own[0].row, len(own) * shapes[stream][1] * width)

    def describe(self) -> Mapping[str, Any]:
        """Return counts of what there is and of what was left out, JSON-ready and without paths."""
        assumed = assumed_of(self._folder)
        return {"source": self.name, **self._roster.facts, **({"assumed": assumed} if assumed else {})}

    def digest(self) -> str:
        """Return the SHA-256 (hex) of the manifest and of every file that it names.

        A file that only excluded attempts name may be missing; it then counts as missing.
        """
        total = hashlib.sha256(f"keyassay-recorded {self._manifest}".encode())
        needed = {piece.row.file for piece in self.pieces()}
        for name in self._files:
            if name not in self._digests:
                try:
                    with open_below(self._folder, name) as handle:
                        self._digests[name] = content_digest(self._folder, name, handle)
                except CorpusError as error:
                    if name in needed:
                        raise CorpusError(f"{self._label}, `file`: {error}") from None
                    self._digests[name] = "missing"
            raw = name.encode()
            total.update(len(raw).to_bytes(8, "big") + raw + self._digests[name].encode())
        return total.hexdigest()

    def cuts(self) -> Iterator[tuple[tuple[int, int] | None, list[tuple[Piece, Cut | CorpusError]]]]:
        """Yield every sitting's captures, or why there is none; incomplete attempts last, as None."""
        for key, group in self._roster.pieces.items():
            yield key, list(each_cut(self._folder, self._label, group))
        if self._roster.spare:
            yield None, list(each_cut(self._folder, self._label, self._roster.spare))

    def labels(self, sitting: Sitting, kind: str) -> Sequence[str | None]:
        """Day, condition or group of every attempt by the owner's rows, or both devices' names."""
        found: list[dict[str, dict[str, str]]] = [
            {DEVICE_A: {}, DEVICE_B: {}} for _ in range(sitting.attempts)
        ]
        for piece in self._roster.pieces[sitting.subject, sitting.session]:
            if piece.row.role in (DEVICE_A, DEVICE_B):
                stated = {name: getattr(piece.row, name) for name in _OWNERS_SAY}
                told = {name: str(value) for name, value in stated.items() if value is not None}
                found[piece.attempt][piece.row.role] = {**told, **found[piece.attempt][piece.row.role]}
        return [owners_label(kind, each[DEVICE_A], each[DEVICE_B]) for each in found]

    def pieces(self) -> Iterator[Piece]:
        """Yield every capture that is not excluded, those of incomplete attempts last."""
        for group in self._roster.pieces.values():
            yield from group
        yield from self._roster.spare

    def _read(
        self, pieces: Iterable[Piece], *, digests: MutableMapping[str, str] | None = None
    ) -> Iterator[tuple[Piece, Cut]]:
        for piece, found in each_cut(self._folder, self._label, pieces, digests=digests):
            if isinstance(found, CorpusError):
                raise found
            yield piece, found

    def _sensed(self, pieces: Sequence[Piece], parts: Sequence[tuple[Array, float | None]]) -> Sensed:
        first, rate = pieces[0].row, parts[0][1]
        channels = len(parts[0][0])
        for piece, (samples, own_rate) in zip(pieces, parts, strict=True):
            self._check_alike(first, channels, rate, piece.row, len(samples), own_rate)
        lengths = np.array([samples.shape[1] for samples, _ in parts])
        self._check_size(first, len(parts) * channels * int(lengths.max()))
        padded = np.full((len(parts), channels, lengths.max()), np.nan)
        for target, (samples, _) in zip(padded, parts, strict=True):
            target[:, : samples.shape[1]] = samples
        seconds: Array | None = None if rate is None else lengths / rate
        if first.signal == "intervals":
            seconds = np.nansum(padded[:, 0], axis=-1)
        return Sensed(
            capture=Capture(
                samples=padded,
                rate_hz=rate,
                signal=first.signal,
                unit=first.canonical_unit,
                seconds=seconds,
            ),
            attempt=np.array([piece.attempt for piece in pieces]),
            attacker=np.array([piece.attacker for piece in pieces]),
        )

    def _check_alike(
        self,
        other: Row,
        channels: int,
        rate: float | None,
        row: Row,
        own_channels: int,
        own_rate: float | None,
    ) -> None:
        for what, one, two in (
            ("number of channels", channels, own_channels),
            ("rate in hertz", rate, own_rate),
        ):
            if one != two:
                raise CorpusError(
                    f"{self._label} lines {other.line} and {row.line}: "
                    f"all of {row.stream} must have one {what}, got {one} and {two}"
                )

    def _check_size(self, row: Row, cells: int) -> None:
        if cells * 8 > MAX_STREAM_BYTES:
            raise CorpusError(
                f"{self._label} line {row.line}: one session's {row.stream}, padded to equal length, "
                f"must take at most {MAX_STREAM_BYTES} bytes, got {cells * 8}; split the session"
            )


def lies_in_files(corpus: Any) -> bool:
    """Whether people of a corpus are those that there are: files, or recorded; others can be made anew."""
    return isinstance(corpus, RecordedCorpus) or corpus.data == "recorded"
