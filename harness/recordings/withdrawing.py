"""Taking a person out of a recorded corpus: from the manifest at once, from the disk if asked for."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from harness.errors import CorpusError, UsageError
from harness.recordings.files import locate, open_below
from harness.recordings.opening import read_manifest
from harness.recordings.reading import beside
from harness.recordings.roster import natural
from harness.recordings.wfdb_header import read_record_header

__all__ = ["Withdrawal", "withdraw"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawal:
    """What was removed, and what was not. Paths are relative to the manifest."""

    rows: int  # as the one who was recorded
    as_attacker: int  # rows of others for which the person attacked: removed too
    pseudonym: int | None  # the person's number in results of the corpus as it was; None: attacker only
    renumbered: int  # people whose number is one less now
    left: int  # people who remain
    deleted: tuple[str, ...]
    kept: tuple[str, ...]  # files of this person alone that are still there
    shared: tuple[str, ...]  # files that hold the person's recordings beside those of others
    mentions: tuple[str, ...]  # other tables in the folder with the person's label


def withdraw(path: str | Path, person: str, *, files: bool = False) -> Withdrawal:
    """Remove every row of a person from a manifest, as subject and as attacker, and no copy is kept.

    The manifest is replaced in one step. The other rows stay as they are, letter by letter as far as CSV
    goes; a manifest with violations elsewhere can be rewritten too.

    Parameters
    ----------
    path : str or Path
        A manifest, or the folder that holds one.
    person : str
        The label in the column `subject` or `attacker`.
    files : bool
        Also delete the files that only this person's rows name, those beside a WFDB header included.

    Raises
    ------
    UsageError
        If nobody has that label, or nobody would be left.
    CorpusError
        If the manifest cannot be read as a table.
    """
    folder, label, raw = read_manifest(path)
    header, rows = _table(raw, label)
    person = person.strip()
    subject = header.index("subject")
    attacker = header.index("attacker") if "attacker" in header else None
    file = header.index("file")

    def names(row: Sequence[str]) -> bool:
        named = row[subject], row[attacker] if attacker is not None else ""
        return bool(person) and person in [cell.strip() for cell in named]

    gone = [row for row in rows if names(row)]
    left = [row for row in rows if not names(row)]
    people = sorted({row[subject].strip() for row in rows}, key=natural)
    if not gone:
        known = ", ".join(people[:10]) + (", ..." if len(people) > 10 else "")
        raise UsageError(f"the person to withdraw must be in {label}, got {person!r}; it holds {known}")
    if not left:
        raise UsageError(f"{person!r} is the only person of {label}: delete the folder instead")
    remaining = {row[subject].strip() for row in left}
    own = sorted({row[file].strip() for row in gone} - {row[file].strip() for row in left})
    shared = sorted({row[file].strip() for row in gone} & {row[file].strip() for row in left})
    _replace(_manifest_path(path), header, left)
    held = [name for one in own for name in _with_siblings(folder, one)]
    used = {name for row in left for name in _with_siblings(folder, row[file].strip())} if files else set()
    deleted = [name for name in held if files and name not in used and _deleted(folder, name)]
    place = people.index(person) if person in people else None
    return Withdrawal(
        rows=sum(row[subject].strip() == person for row in gone),
        as_attacker=sum(row[subject].strip() != person for row in gone),
        pseudonym=place,
        renumbered=0 if place is None else len(people) - 1 - place,
        left=len(remaining),
        deleted=tuple(deleted),
        kept=tuple(name for name in held if name not in deleted and (folder / name).is_file()),
        shared=tuple(shared),
        mentions=tuple(_mentions(folder, person, _manifest_path(path))),
    )


def _manifest_path(path: str | Path) -> Path:
    path = Path(path)
    return path / "manifest.csv" if path.is_dir() else path


def _table(raw: bytes, label: str) -> tuple[list[str], list[list[str]]]:
    try:
        lines = list(csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise CorpusError(
            f"{label} must be a UTF-8 CSV table to take a person out of it, but {error}"
        ) from None
    header = [cell.strip() for cell in lines[0]] if lines else []
    if "subject" not in header or "file" not in header:
        raise CorpusError(f"{label} line 1: must have the columns `file` and `subject`, got {header[:8]}")
    rows = [row for row in lines[1:] if row]
    for number, row in enumerate(rows, start=2):
        if len(row) != len(header):
            raise CorpusError(
                f"{label}, row {number}: must have {len(header)} cells as the header has, got {len(row)}; "
                "mend it first, as it may be the person's"
            )
    return header, rows


def _replace(path: Path, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows([header, *rows])
    real = Path(os.path.realpath(path))
    part = real.with_name(f".{real.name}.{os.getpid()}.part")
    try:
        part.write_text(text.getvalue(), encoding="utf-8", newline="")
        os.replace(part, real)
    except OSError as error:
        raise UsageError(f"{path.name} must be writable, got: {error.strerror}") from None
    finally:
        part.unlink(missing_ok=True)


def _with_siblings(folder: Path, name: str) -> list[str]:
    """A file, and the files that it names if it is a WFDB header."""
    found = [name]
    if PurePosixPath(name).suffix.lower() == ".hea":
        try:
            with open_below(folder, name) as handle:
                lines = read_record_header(handle, beside(folder, name)).lines
        except CorpusError:
            return found
        found += sorted({str(PurePosixPath(name).parent / line.file) for line in lines})
    return found


def _deleted(folder: Path, name: str) -> bool:
    """Delete a file below the folder, and a link to it; False if it is not there or cannot be."""
    try:
        path = Path(locate(folder, name))
        real = Path(os.path.realpath(path))
        path.unlink()
        if real != path:
            real.unlink(missing_ok=True)
    except (CorpusError, OSError):
        return False
    return True


def _mentions(folder: Path, person: str, manifest: Path) -> list[str]:
    """Other tables beside the manifest that have the person in a column `subject` or `attacker`."""
    found = []
    for path in sorted(folder.glob("*.csv")):
        if os.path.realpath(path) == os.path.realpath(manifest) or path.stat().st_size > 2**28:
            continue
        try:
            with path.open(encoding="utf-8-sig", newline="") as handle:
                named = any(
                    person in ((row.get("subject") or "").strip(), (row.get("attacker") or "").strip())
                    for row in csv.DictReader(handle)
                )
        except (UnicodeDecodeError, csv.Error, OSError):
            continue
        if named:
            found.append(path.name)
    return found
