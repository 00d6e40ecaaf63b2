"""The command line: the only package that knows everything.

Numerical libraries are imported inside the commands, so that `keyassay --help` answers at once.
"""

from __future__ import annotations

from harness.cli.auditing import audit
from harness.cli.listing import list_
from harness.cli.root import cli, main

__all__ = ["main"]

for command in (audit, list_):
    cli.add_command(command)
