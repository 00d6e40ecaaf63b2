"""reports: the threat report of an audit, as HTML, Markdown and terminal text."""

from __future__ import annotations

import os
from pathlib import Path

from harness.results import Audit
from reports.document import document as threat_report
from reports.html import to_html
from reports.markdown import to_markdown
from reports.text import to_text

__all__ = ["to_html", "to_markdown", "to_text", "write_reports"]


def write_reports(audit: Audit, folder: str | Path) -> tuple[Path, Path]:
    """Write `report.html` and `report.md` into `folder`, which is made if need be.

    Both are whole before either takes its name, so that a reader never meets half a report.

    Parameters
    ----------
    audit : Audit
        What was found.
    folder : str or pathlib.Path
        Where the reports go.

    Returns
    -------
    tuple of pathlib.Path
        The page and the Markdown file.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    report = threat_report(audit)
    texts = {"report.html": to_html(report), "report.md": to_markdown(report)}
    asides = {name: folder / f".{name}.{os.getpid()}.part" for name in texts}
    try:
        for name, text in texts.items():
            asides[name].write_text(text, encoding="utf-8", newline="\n")
        for name, aside in asides.items():
            os.replace(aside, folder / name)
    finally:
        for aside in asides.values():
            aside.unlink(missing_ok=True)
    return folder / "report.html", folder / "report.md"
