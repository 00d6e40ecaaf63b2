"""Does a change edit what it is judged by? Asked of git, where there is one."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

__all__ = ["edited_files"]


def edited_files(paths: Sequence[Path], since: str | None) -> list[str]:
    """A sentence for each file that differs from a git revision (default: the last commit).

    Without git, or outside a work tree, there is nothing to say; an unknown revision is said.
    """
    revision = since or "HEAD"
    found = []
    for path in paths:
        folder = path.absolute().parent
        if not folder.is_dir() or _git(folder, "rev-parse", "--is-inside-work-tree") is None:
            continue
        commit = _git(folder, "rev-parse", "--verify", "--end-of-options", f"{revision}^{{commit}}")
        if commit is None:
            if since is not None:
                found.append(f"Whether {path.name} was edited is not known: git has no revision {since!r}.")
            continue
        # what others did meanwhile on the branch that this one left is no edit of this change
        base = _git(folder, "merge-base", "HEAD", commit.strip()) or commit
        same = _git(folder, "diff", "--quiet", "--no-ext-diff", base.strip(), "--", path.name)
        tracked = _git(folder, "ls-files", "--error-unmatch", "--", path.name)
        if same is None or tracked is None:
            whence = f"since {since}" if since is not None else "and has not committed that"
            found.append(f"This change edits {path.name}, which it is judged by, {whence}.")
    return found


def _git(folder: Path, *words: str) -> str | None:
    """What git prints; None if it fails or is not there."""
    try:
        done = subprocess.run(
            ["git", "-C", str(folder), *words], capture_output=True, text=True, timeout=20, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None
