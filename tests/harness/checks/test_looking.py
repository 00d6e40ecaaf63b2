"""What is taken undeclared is found, by whatever way it is taken."""

from __future__ import annotations

from typing import Any

import pytest
from contract_breakers import looking
from contract_breakers.sound_schemes import Sound

from fixtures.controls import Channel
from harness import check_attack


@pytest.mark.parametrize(
    "kind", [looking.TakesByBeginning, looking.TakesTheOwners, looking.TakesTheUnheardOf]
)
def test_what_is_found_by_walking_through_is_found_out(kind: Any, few: Channel) -> None:
    check = "undeclared-changes-nothing"
    (found,) = check_attack(kind(), scheme=Sound(), corpus=few, only=[check])
    assert found.status == "broken"
