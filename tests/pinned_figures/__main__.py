"""Write the figures anew, and say which of them moved: ``python -m pinned_figures``."""

from __future__ import annotations

from pinned_figures.pins import FIGURES, FILE, moved, pinned
from pinned_figures.plain import rows, text_of


def main() -> None:
    held = pinned() if FILE.exists() else {}
    found = {name: rows(figure()) for name, figure in FIGURES.items()}
    for name in found:
        lines = moved(held[name], found[name]) if name in held else ["new"]
        if lines:
            print(f"{name}: {len(lines)} rows: {lines[0]}")
    for name in held.keys() - found.keys():
        print(f"{name}: gone")
    FILE.write_text(text_of(found), encoding="utf-8")


if __name__ == "__main__":
    main()
