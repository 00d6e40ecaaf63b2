"""The command line: the only package that knows everything.

Numerical libraries are imported inside the commands, so that `keyassay --help` answers at once.
"""

from __future__ import annotations

from harness.cli.auditing import audit
from harness.cli.baselining import baseline
from harness.cli.calibrating import calibrate
from harness.cli.checking import check
from harness.cli.claiming import claims
from harness.cli.comparing import compare
from harness.cli.entropy import entropy
from harness.cli.gating import gate
from harness.cli.inspecting import inspect
from harness.cli.listing import list_
from harness.cli.manifesting import manifest
from harness.cli.root import cli, main
from harness.cli.simulating import simulate
from harness.cli.sweeping import sweep
from harness.cli.withdrawing import withdraw

__all__ = ["main"]

for command in (
    audit,
    claims,
    compare,
    sweep,
    gate,
    baseline,
    entropy,
    inspect,
    manifest,
    check,
    withdraw,
    list_,
    simulate,
    calibrate,
):
    cli.add_command(command)
