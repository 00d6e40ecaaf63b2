"""What several tests share: small people whose sensors are channels, and stranger's files."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixtures.controls import Channel, SignCommitment
from harness.contracts import DEVICE_B

PLUGINS = Path(__file__).parent / "harness" / "plugins_for_tests"


@pytest.fixture(scope="session")
def plugins() -> Path:
    return PLUGINS


@pytest.fixture
def people() -> Channel:
    """Six people, two sessions of three attempts, a distant sensor with a tenth of the signs wrong."""
    return Channel(subjects=6, attempts=3, errors=((DEVICE_B, 0.02), ("remote", 0.1)))


@pytest.fixture
def scheme() -> SignCommitment:
    """Twelve bits of key from 21 signs; small codes are enumerated in no time."""
    return SignCommitment(code="hamming-7-4", blocks=3)
