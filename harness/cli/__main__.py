"""`python -m harness.cli` is the command too."""

from __future__ import annotations

from harness.cli import main

if __name__ == "__main__":
    main()
