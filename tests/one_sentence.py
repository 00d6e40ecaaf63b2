"""What every message about a damaged corpus must be."""

from __future__ import annotations

from typing import Any


def sentence(error: BaseException, park: Any) -> str:
    """The message of an error: one short sentence that begins with the manifest and shows no folder."""
    text = str(error)
    assert "\n" not in text
    assert len(text) < 400
    assert str(park.folder.parent) not in text
    assert text.startswith("park/manifest.csv")
    return text
