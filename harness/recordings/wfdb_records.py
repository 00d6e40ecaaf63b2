"""WFDB records of one segment, from files beside their header and nowhere else."""

from __future__ import annotations

import os
import tempfile
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.recording import Beside, Recording, check_array_size, needed, picked, reason_of
from harness.recordings.wfdb_header import read_record_header

__all__ = ["WfdbSource"]

_BROKEN = (ValueError, KeyError, IndexError, TypeError, AttributeError, OSError, OverflowError, MemoryError)


class WfdbSource:
    """Signals by name; samples that the format marks invalid are gaps.

    The reading package gets a header with names that were chosen here, in a folder of its own: names
    that it would take for addresses never reach it.
    """

    def __init__(self, handle: BinaryIO, beside: Beside) -> None:
        self._wfdb = needed("wfdb", "wfdb")
        self._header = read_record_header(handle, beside)
        self._beside = beside

    @property
    def names(self) -> list[str]:
        """Of the signals; their number where the header gives no name."""
        return [line.name or str(k) for k, line in enumerate(self._header.lines)]

    @property
    def units(self) -> list[str]:
        """What the header writes as the unit of each signal; "" where it states none."""
        return [line.unit for line in self._header.lines]

    @property
    def files(self) -> list[str]:
        """Paths of the files that hold the samples."""
        return [self._beside(name) for name in dict.fromkeys(line.file for line in self._header.lines)]

    def read(self, array: str | None, channels: Sequence[str] | None) -> Recording:
        places = picked(self.names, channels)
        lines = [self._header.lines[k] for k in places]
        frames = {line.frames for line in lines}
        if len(frames) > 1:
            rates = ", ".join(f"{self._header.rate_hz * n:g}" for n in sorted(frames))
            raise CorpusError(
                f"must have one rate in all channels of a capture, got {rates} Hz; name them in `channel`"
            )
        # all signals of a file are unpacked together, whichever are asked for
        total = sum(line.frames for line in self._header.lines)
        check_array_size(total * self._header.frames * 8)
        samples = self._samples(places)
        return Recording(
            samples=np.array(samples),
            names=tuple(self.names[k] for k in places),
            rate_hz=self._header.rate_hz * frames.pop(),
            units=tuple(self.units[k] for k in places),
            gaps=bool(np.isnan(samples).any()),
        )

    def _samples(self, places: Sequence[int]) -> list[Array]:
        known = list(dict.fromkeys(line.file for line in self._header.lines))
        plain = {name: f"{k}.dat" for k, name in enumerate(known)}
        with tempfile.TemporaryDirectory() as name, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            folder = Path(name)
            for file, as_ in plain.items():
                os.symlink(os.path.abspath(self._beside(file)), folder / as_)
            header = self._header.renamed("record", [plain[line.file] for line in self._header.lines])
            (folder / "record.hea").write_text(header, encoding="utf-8")
            try:
                record = self._wfdb.rdrecord(
                    str(folder / "record"),
                    channels=list(places),
                    sampto=self._header.frames,
                    smooth_frames=False,
                )
                signals = [np.asarray(signal, dtype=np.float64) for signal in record.e_p_signal]
            except _BROKEN as error:
                raise CorpusError(f"must be a readable record, but {reason_of(error)}") from None
        wanted = [self._header.frames * self._header.lines[k].frames for k in places]
        if [len(signal) for signal in signals] != wanted:
            raise CorpusError(f"must hold {wanted} samples, got {[len(signal) for signal in signals]}")
        return signals
