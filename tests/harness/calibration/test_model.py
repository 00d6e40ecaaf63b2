"""What a flaw must be."""

from __future__ import annotations

import pytest
from made_up_trials import control

from harness.calibration.model import Flaw

LEAK, TWIN = control("leak", sound=False), control("leak-twin", sound=True)


def test_a_flaw_is_called_what_is_planted() -> None:
    assert Flaw(planted=LEAK, twin=TWIN, found_by=frozenset({"right"}), met="nowhere").name == "leak"


@pytest.mark.parametrize(("planted", "twin"), [(TWIN, TWIN), (LEAK, LEAK), (TWIN, LEAK)])
def test_a_flaw_is_planted_in_something_unsound_beside_a_sound_twin(planted: object, twin: object) -> None:
    with pytest.raises(ValueError, match="must be planted in an unsound control and have a sound twin"):
        Flaw(planted=planted, twin=twin, found_by=frozenset({"right"}), met="nowhere")


def test_a_flaw_names_what_sees_it() -> None:
    with pytest.raises(ValueError, match="must name the findings that see it, got none for leak"):
        Flaw(planted=LEAK, twin=TWIN, found_by=frozenset(), met="nowhere")


def test_people_are_drawn_again_for_each_seed() -> None:
    assert (LEAK.seeded(7).corpus.seed, LEAK.corpus.seed) == (7, 0)
