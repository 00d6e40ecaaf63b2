"""A file of symbols, assessed by everything that there is for one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict

import numpy as np

from harness.contracts import Array
from harness.entropy_record import (
    CheckRecord,
    EntropyFile,
    EstimateRecord,
    HealthRecord,
    IidRecord,
    OrderRecord,
    RestartRecord,
)
from harness.errors import UsageError
from harness.estimators.entropy import health
from harness.estimators.entropy.iid import IidAssessment, iid_assessment
from harness.estimators.entropy.non_iid import NonIid, non_iid
from harness.estimators.entropy.restart import RestartTest, restart_test
from harness.streams import stream
from harness.symbol_files import SymbolFile

__all__ = ["assess"]

Progress = Callable[[str, int, int], None]


def assess(
    file: SymbolFile,
    *,
    restarts: int | None = None,
    initial: float | None = None,
    permutations: int | None = 10_000,
    seed: int = 0,
    progress: Progress | None = None,
) -> EntropyFile:
    """Ten estimators, tests of independence, restarts and health cutoffs of one file.

    Parameters
    ----------
    file : SymbolFile
        A two-dimensional array holds one restart a row.
    restarts : int, optional
        How many restarts of equal length a one-dimensional file holds, one after another.
    initial : float, optional
        Bits a symbol that a sequence of its own was assessed at, for restarts to be held against; if not
        told, those of these symbols.
    permutations : int, optional
        Of the tests of independence; None leaves these out.
    seed : int
        Of the permutations.
    progress : callable, optional
        Told what is done, how much of it, and of how much.

    Raises
    ------
    UsageError
        If symbols cannot be cut into so many restarts, or `initial` is not for restarts or no entropy.
    """
    matrix = _restarts(file.symbols, restarts)
    if initial is not None and (matrix is None or not 0 <= initial <= file.bits):
        raise UsageError(
            f"`--initial` must be bits of entropy a symbol, 0 to {file.bits}, for restarts to be held "
            f"against, got {initial:g} for {'no' if matrix is None else len(matrix)} restarts"
        )
    symbols = file.symbols.ravel()
    kinds = file.alphabet
    found = non_iid(symbols, alphabet=kinds)
    assessed, decides = found.value, f"{found.decides.method} of {found.decides.of}"
    remarks = [*found.remarks]
    iid = None
    if permutations is not None:
        iid = iid_assessment(
            symbols,
            rng=stream(seed, "entropy-permutations"),
            permutations=permutations,
            progress=None if progress is None else lambda *done: progress("permutations", *done),
        )
    restart = None
    if matrix is not None:
        restart = restart_test(
            matrix,
            initial=assessed if initial is None else initial,
            estimate=lambda part: non_iid(part, alphabet=kinds).value,
            alphabet=kinds,
        )
        if initial is None:
            remarks.append(
                "Restarts are held against the entropy of these same symbols; the standard has a sequence "
                "of its own for that (`--initial`)."
            )
        if restart.value < assessed:
            by_column = restart.value == restart.column
            assessed = restart.value
            decides = "the order column by column" if by_column else "the entropy told as `--initial`"
        if not restart.passed:
            remarks.append("As the restart test is not passed, the standard awards no entropy at all.")
    remarks += [
        "Every estimate bounds what may be claimed from one side: structure that no estimator sees only "
        "lowers the entropy. That it is estimated on the safe side lowers the estimate, the more so the "
        "shorter the file.",
        "This is evidence about one recording, not a certification of its source.",
    ]
    return EntropyFile(
        version=1,
        read_as=file.kind,
        symbols=symbols.size,
        bits_per_symbol=file.bits,
        different_symbols=len(np.unique(symbols)),
        seed=seed,
        estimates=_estimates(found),
        literal=found.literal,
        bitstring=found.of_bits,
        assessed=assessed,
        decides=decides,
        side="defender-at-most",
        iid=None if iid is None or permutations is None else _iid(iid, permutations),
        restart=None if restart is None else _restart(restart),
        health=_health(assessed, binary=file.bits == 1),
        remarks=remarks,
    )


def _restarts(symbols: Array, restarts: int | None) -> Array | None:
    if symbols.ndim == 2:
        if restarts is not None:
            raise UsageError("the array holds one restart a row: leave `--restarts` out")
        if min(symbols.shape) < 2:
            return None
        return symbols
    if restarts is None:
        return None
    if symbols.size % restarts or symbols.size < 2 * restarts:
        raise UsageError(
            f"`--restarts` must cut the file into restarts of equal length, two symbols at least, got "
            f"{symbols.size} symbols for {restarts} restarts"
        )
    return symbols.reshape(restarts, -1)


def _estimates(found: NonIid) -> list[EstimateRecord]:
    return [
        EstimateRecord(
            method=o.method,
            of="bits" if o.of == "bits" else "symbols",
            value=None if o.estimate is None else o.estimate.value,
            ceiling=o.ceiling,
            reason=o.reason,
        )
        for o in found.outcomes
    ]


def _iid(found: IidAssessment, permutations: int) -> IidRecord:
    return IidRecord(
        outcome=found.outcome,
        rejecting=list(found.rejecting),
        untested=list(found.untested),
        permutations=permutations,
        orders=[OrderRecord(**asdict(order)) for order in found.orders],
        tests=[CheckRecord(**asdict(test)) for test in found.tests],
    )


def _restart(found: RestartTest) -> RestartRecord:
    return RestartRecord(
        restarts=found.restarts,
        symbols=found.symbols,
        full_size=found.full_size,
        row=found.row,
        column=found.column,
        row_count=found.row_count,
        row_cutoff=found.row_cutoff,
        column_count=found.column_count,
        column_cutoff=found.column_cutoff,
        sane=found.sane,
        halved=found.halved,
        passed=found.passed,
        remark=found.remark,
    )


def _health(entropy: float, *, binary: bool) -> HealthRecord | None:
    if entropy <= 0:
        return None
    cutoffs = health.cutoffs(entropy, binary=binary)
    return HealthRecord(
        entropy=entropy,
        false_alarm=health.ALPHA,
        repetition_count=cutoffs.repetition_count,
        window=cutoffs.window,
        adaptive_proportion=cutoffs.adaptive_proportion,
    )
