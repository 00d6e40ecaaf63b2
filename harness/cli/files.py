"""Results and reports as files: each is whole or absent."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from harness.results import Audit

__all__ = ["check_file_writable", "check_writable", "read_result", "write_result", "write_text"]


def check_writable(out: Path) -> None:
    """Refuse a folder that cannot be written before hours are spent, without leaving anything behind."""
    from harness.errors import UsageError

    # a link that leads nowhere is in the way too
    existing = next(p for p in [out, *out.absolute().parents] if p.exists() or p.is_symlink())
    if not existing.is_dir() or not os.access(existing, os.W_OK):
        raise UsageError(f"`--out` must be a folder that can be written, got {out}")


def check_file_writable(path: Path) -> None:
    """Refuse a file that cannot be written before anything is done."""
    from harness.errors import UsageError

    folder = path.absolute().parent
    if path.is_dir() or not folder.is_dir() or not os.access(folder, os.W_OK):
        raise UsageError(f"a file must lie in a folder that can be written, got {path}")


def read_result(path: Path) -> Audit:
    """A `result.json`, or the one of a folder; whatever else it is, it is refused in one sentence."""
    from harness.errors import UsageError
    from harness.results import Audit

    try:
        return Audit.read(path)
    except OSError as error:
        why = error.strerror or type(error).__name__
    except (ValueError, RecursionError) as error:
        why = str(error)
    raise UsageError(f"RESULT must be a whole result.json, or the folder of one, got {path}: {why}")


def write_text(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def write_result(found: Audit, out: Path) -> Path:
    """Write `result.json` and its reports into a folder, and return the path of the page."""
    from reports import write_reports

    out.mkdir(parents=True, exist_ok=True)
    write_text(out / "result.json", found.to_json())
    return write_reports(found, out)[0]
