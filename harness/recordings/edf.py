"""EDF and BDF recordings, plain or with annotations; gaps between their records stay gaps."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any, BinaryIO, ClassVar

import numpy as np

from harness.contracts import Array
from harness.errors import CorpusError
from harness.recordings.edf_header import Header, read_header, record_onsets
from harness.recordings.edf_timeline import placed, timeline
from harness.recordings.recording import Beside, Recording, check_array_size, needed, picked, reason_of

__all__ = ["BdfSource", "EdfSource"]

# Fields are ASCII by the format; many recorders write the micro sign of Latin-1 all the same.
ENCODING = "latin-1"
_BROKEN = (ValueError, KeyError, IndexError, TypeError, OSError, OverflowError, EOFError, MemoryError)


class EdfSource:
    """Signals by label. Its size is judged against its header before anything else is read."""

    kind: ClassVar[str] = "EDF"

    def __init__(self, handle: BinaryIO, beside: Beside) -> None:
        edfio = needed("edfio", "edf")
        self._header: Header = read_header(handle, self.kind)
        self._onsets = record_onsets(handle, self._header)
        handle.seek(0)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # what matters is judged here
                self._file = self._opened(edfio, handle)
                self._signals = list(self._file.signals)
            self.names = [str(signal.label) for signal in self._signals]
        except _BROKEN as error:
            raise CorpusError(f"must be an {self.kind} file, but {reason_of(error)}") from None

    def _opened(self, edfio: Any, handle: BinaryIO) -> Any:
        # by its path, signals are read as they are needed
        source = handle.name if isinstance(getattr(handle, "name", None), str) else handle
        return edfio.read_edf(source, header_encoding=ENCODING)

    @property
    def units(self) -> list[str]:
        """What the header writes as the unit of each signal."""
        return [str(signal.physical_dimension) for signal in self._signals]

    def read(self, array: str | None, channels: Sequence[str] | None) -> Recording:
        places = picked(self.names, channels)
        signals = [self._signals[k] for k in places]
        if not signals:
            raise CorpusError("must hold a signal beside annotations, got none")
        sizes = {int(signal.samples_per_data_record) for signal in signals}
        if len(sizes) > 1:
            rates = ", ".join(f"{size / self._header.seconds:g}" for size in sorted(sizes))
            raise CorpusError(
                f"must have one rate in all channels of a capture, got {rates} Hz; name them in `channel`"
            )
        size = sizes.pop()
        rate = size / self._header.seconds
        line = timeline(self._onsets, self._header, size)
        check_array_size(len(signals) * line.length * 8)
        values = [self._calibrated(signal) for signal in signals]
        samples = [placed(one, size, line) for one, _ in values]
        return Recording(
            samples=np.array(samples),
            names=tuple(self.names[k] for k in places),
            rate_hz=rate,
            effective_hz=line.effective_hz,
            units=tuple(self.units[k] for k in places),
            limits=np.array([limits for _, limits in values]),
            gaps=line.gaps,
            person=self._header.person,
        )

    def _calibrated(self, signal: Any) -> tuple[Array, tuple[float, float]]:
        """Samples of one signal in its unit, and the least and greatest that it can hold."""
        label = str(signal.label)
        try:
            least, most = (int(x) for x in (signal.digital_min, signal.digital_max))
            low, high = (float(x) for x in (signal.physical_min, signal.physical_max))
        except _BROKEN:
            raise CorpusError(
                f"channel {label!a} must be calibrated by four numbers, got fields that are none"
            ) from None
        if least >= most or low == high or not np.isfinite([low, high]).all():
            raise CorpusError(
                f"channel {label!a} must be calibrated by two different points, got digital {least} to "
                f"{most} for physical {low:g} to {high:g}"
            )
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                values = np.asarray(signal.data, dtype=np.float64)
        except _BROKEN as error:
            raise CorpusError(f"channel {label!a} must be readable, but {reason_of(error)}") from None
        return values, (min(low, high), max(low, high))


class BdfSource(EdfSource):
    """The same with 24 bits a sample."""

    kind: ClassVar[str] = "BDF"

    def _opened(self, edfio: Any, handle: BinaryIO) -> Any:
        return edfio.read_bdf(handle, header_encoding=ENCODING)
