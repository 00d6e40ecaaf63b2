"""Every adversary with a sensor reads its own, reaches its information, and nothing from a stranger's."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from gaussian_views import LEARNING, bits, information, reached, view

from attacks.body_site import BodySite
from attacks.camera import Camera
from attacks.distant_sensor import DistantSensor
from attacks.mimicry import Mimicry
from attacks.neighbour import Neighbour
from attacks.replay import Replay
from attacks.touching_partner import TouchingPartner

ROLE = {
    Mimicry: "mimic",
    Camera: "camera",
    DistantSensor: "remote",
    BodySite: "other-site",
    Replay: "earlier",
    TouchingPartner: "partner-touch",
    Neighbour: "neighbour",
}
ALL_OTHERS = {role: [9.0] for role in ROLE.values()}


@pytest.mark.parametrize("attack", ROLE, ids=lambda a: a.__name__)
def test_it_reads_its_own_sensor_and_reaches_its_information(attack: Any) -> None:
    noise = 0.75
    role = ROLE[attack]
    assert attack().sees == {role}
    made, symbols = view({**ALL_OTHERS, role: [noise]})
    value, error = bits(attack().believe(made, rng=np.random.default_rng(1)).log_prob, symbols)
    wanted = information(reached(noise))
    assert wanted - LEARNING - 4 * error < value < wanted + 4 * error


@pytest.mark.parametrize("attack", ROLE, ids=lambda a: a.__name__)
def test_a_strangers_capture_tells_it_nothing(attack: Any) -> None:
    """Other people's captures belong to other people's others too: there is nothing to learn."""
    made, symbols = view({ROLE[attack]: [0.1]})
    assert made.population is not None
    turned = [
        {r: replace(c, samples=np.roll(c.samples, 5, axis=0)) for r, c in captures.items()}
        for captures in (made.captures, made.population.captures)
    ]
    strange = replace(made, captures=turned[0], population=replace(made.population, captures=turned[1]))
    value, error = bits(attack().believe(strange, rng=np.random.default_rng(1)).log_prob, symbols)
    assert -LEARNING - 4 * error < value < 4 * error
