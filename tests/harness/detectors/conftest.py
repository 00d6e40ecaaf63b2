"""Evidence of a sound scheme, to plant flaws in."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from sound_evidence import sound_evidence

from harness.detectors import Evidence

Sound = Callable[..., Evidence]


@pytest.fixture
def sound() -> Sound:
    return sound_evidence


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(5)
