"""Whether the people of a folder exist."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from harness.errors import CorpusError
from harness.recordings.files import locate

__all__ = ["SIMULATION", "assumed_of", "kind_of_data"]

SIMULATION = "simulation.json"
MAX_BYTES = 2**24


def kind_of_data(folder: Path) -> str:
    """Return "simulated" if the folder holds a `simulation.json` that says so, else "recorded".

    Raises
    ------
    CorpusError
        If that file is there and cannot be understood: real people must not pass for simulated ones, nor
        the other way round.
    """
    found = _stated(folder)
    if found is None:
        return "recorded"
    stated = found.get("data")
    if stated not in ("simulated", "recorded"):
        raise CorpusError(
            f'{folder.name}/{SIMULATION} must hold "data": "simulated" or "recorded", '
            f"got {ascii(stated)[:60]}; mend or remove it"
        )
    return str(stated)


def assumed_of(folder: Path) -> dict[str, list[str]]:
    """Parameters that nobody has measured, by the stream that rests on them, as the folder states them."""
    found = _stated(folder)
    described = (found or {}).get("description")
    assumed = described.get("assumed") if isinstance(described, dict) else None
    if not isinstance(assumed, dict):
        return {}
    return {
        str(stream): [str(name) for name in names]
        for stream, names in assumed.items()
        if isinstance(names, list)
    }


def _stated(folder: Path) -> dict[str, Any] | None:
    path = folder / SIMULATION
    if not path.is_symlink() and not path.exists():
        return None
    locate(folder, SIMULATION)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise ValueError("it is too large")
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise CorpusError(
            f"{folder.name}/{SIMULATION} must be JSON that says where the corpus came from, "
            f"but {' '.join(str(error).split())[:120]}"
        ) from None
    return found if isinstance(found, dict) else {}
