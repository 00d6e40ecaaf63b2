"""The pytest fixture `keyassay_gate`: a scheme's own test suite holds its claims and its baseline.

pytest loads this file in every run where keyassay is installed, so numerical libraries and reports
are imported only when the fixture is called.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import pytest

if TYPE_CHECKING:
    from harness.verdicts import Verdict

__all__ = ["GateFixture", "keyassay_gate"]


class GateFixture(Protocol):
    """What the fixture `keyassay_gate` is: a function that returns if there is nothing to object to."""

    def __call__(
        self,
        scheme: Any,
        *,
        baseline: str | Path | None = None,
        claims: str | Path | None = None,
        anchor: str | Path | None = None,
        margins: Mapping[str, float] | None = None,
        **options: Any,
    ) -> Verdict | None: ...


@pytest.fixture
def keyassay_gate(request: pytest.FixtureRequest) -> GateFixture:
    """Audit a scheme, judge its claims, and hold it against a baseline; fail the test unless all is well.

    The fixture is a function ``keyassay_gate(scheme, *, baseline=None, claims=None, anchor=None,
    margins=None, **options)``. `scheme` is an object, a registered name or ``file.py:Name``; `baseline`,
    `claims` and `anchor` are files; relative paths start at the folder of the test. `margins` replace those
    of the claims file, measure by measure; the other options are those of `harness.audit` (`corpus`,
    `attacks`, `subjects`, `seed`, ...), and must be those that the baseline was made with.

    It returns the `Verdict`, or None if there is no baseline, and fails the test if a claim is refuted or
    a metric got worse; if anything is undecided, untested or an open threat, which is never a pass; and
    if a file is missing or damaged.
    """
    folder = request.path.parent

    def gated(
        scheme: Any,
        *,
        baseline: str | Path | None = None,
        claims: str | Path | None = None,
        anchor: str | Path | None = None,
        margins: Mapping[str, float] | None = None,
        **options: Any,
    ) -> Verdict | None:
        __tracebackhide__ = True
        from harness.errors import ContractError, CorpusError, UsageError

        try:
            objections, verdict = _judged(
                _found(scheme, folder),
                baseline=_below(folder, baseline),
                claims=_below(folder, claims),
                anchor=_below(folder, anchor),
                margins=margins,
                options=options,
            )
        except (UsageError, ContractError, CorpusError) as error:
            from harness.cli.words import line

            pytest.fail(f"keyassay: {line(str(error))}", pytrace=False)
        if objections:
            pytest.fail("\n\n".join(objections), pytrace=False)
        return verdict

    return gated


def _below(folder: Path, path: str | Path | None) -> Path | None:
    return None if path is None else folder / path


def _found(scheme: Any, folder: Path) -> Any:
    """A scheme in a file is looked for beside the test, wherever pytest was started."""
    from harness.plugins import file_of

    written = file_of(scheme) if isinstance(scheme, str) else None
    if written is None:
        return scheme
    path, rest = written
    return f"{folder / path}:{rest}" if rest else str(folder / path)


def _judged(
    scheme: Any,
    *,
    baseline: Path | None,
    claims: Path | None,
    anchor: Path | None,
    margins: Mapping[str, float] | None,
    options: Mapping[str, Any],
) -> tuple[list[str], Verdict | None]:
    """What there is to object to, as texts, and the gate's verdict."""
    from harness.auditing import audit
    from harness.baseline import read_baseline
    from harness.claims.reading import read_claims
    from harness.errors import UsageError
    from harness.gating import gate
    from harness.margins import chosen_margins
    from reports.claims_text import claim_lines, claims_headline
    from reports.gate import to_text

    if baseline is None and (claims is None or anchor is not None):
        raise UsageError(
            "`keyassay_gate` must be given a baseline or claims, and an anchor only beside a baseline"
        )
    # files first: nobody should wait for an audit to hear of a slip of the pen
    claimed = None if claims is None else read_claims(claims)
    asked = {**(claimed.margins if claimed else {}), **(margins or {})}
    chosen_margins(asked)
    held = None if baseline is None else read_baseline(baseline)
    fixed = None if anchor is None else read_baseline(anchor)
    found = audit(scheme, claims=claimed, **options)
    objections = []
    if found.claims is not None:
        lines = claim_lines(found.claims)
        if lines:
            objections.append("\n".join([claims_headline(found.claims), *lines]))
    if held is None:
        return objections, None
    verdict = gate(found, baseline=held, anchor=fixed, margins=asked)
    if verdict.outcome != "pass":
        objections.append(to_text(verdict))
    return objections, verdict
