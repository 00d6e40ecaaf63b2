"""Exchanges that happened elsewhere: a scheme that cannot be called, audited from what it did."""

from __future__ import annotations

from harness.logs.opening import is_log, open_log
from harness.logs.replaying import Logged, LoggedCorpus

__all__ = ["Logged", "LoggedCorpus", "is_log", "open_log"]
