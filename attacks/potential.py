"""What each attack asks of whoever carries it out: proposals, each with its reason.

Steps of the five factors of the Common Evaluation Methodology (`harness.potential`). They are assumptions
about an attacker who prepares for one kind of device and goes after one person; a claims file overrides
them.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["PROPOSED"]


def _effort(
    elapsed_time: str, expertise: str, knowledge: str, window: str, equipment: str, rationale: str
) -> Mapping[str, str]:
    return MappingProxyType(
        {
            "elapsed_time": elapsed_time,
            "expertise": expertise,
            "knowledge": knowledge,
            "window": window,
            "equipment": equipment,
            "rationale": rationale,
        }
    )


PROPOSED: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "population": _effort(
            "1-day", "proficient", "public", "unlimited", "standard",
            "The published scheme and other people's recordings are enough; the victim is never met.",
        ),
        "helper-leak": _effort(
            "1-day", "proficient", "public", "unlimited", "standard",
            "Helper data go over the air in the open; decoding them is a program.",
        ),
        "key-check": _effort(
            "1-day", "proficient", "public", "unlimited", "standard",
            "Check values go over the air in the open; trying parts of a key is a program.",
        ),
        "helper-reuse": _effort(
            "1-month", "proficient", "public", "easy", "standard",
            "Several sessions of one person have to be overheard, which takes presence and patience.",
        ),
        "mimicry": _effort(
            "1-week", "proficient", "public", "easy", "standard",
            "Watches the victim, practises, and uses a device that anybody can buy.",
        ),
        "camera": _effort(
            "1-week", "proficient", "public", "easy", "standard",
            "A camera in view of hand or face, and published methods to turn video into a waveform.",
        ),
        "distant-sensor": _effort(
            "2-months", "expert", "public", "moderate", "bespoke",
            "No sensor is sold that reads a muscle without touching; one has to be built and brought near.",
        ),
        "body-site": _effort(
            "1-week", "expert", "public", "difficult", "specialised",
            "An electrode on the victim's own body at the time of the attempt, unnoticed.",
        ),
        "replay": _effort(
            "1-week", "proficient", "public", "moderate", "specialised",
            "The victim has to be recorded once with a sensor like the owner's.",
        ),
        "past-keys": _effort(
            "1-week", "proficient", "critical", "moderate", "standard",
            "Past keys and what the device recorded for them must have leaked from a device of the owner.",
        ),
        "touching-partner": _effort(
            "1-day", "proficient", "public", "moderate", "specialised",
            "Skin contact at the time of the attempt, and electrodes on one's own hand.",
        ),
        "neighbour": _effort(
            "1-day", "layman", "public", "easy", "standard",
            "Uses the same kind of device beside the victim.",
        ),
        "profiled": _effort(
            "1-month", "expert", "public", "difficult", "bespoke",
            "Learns on recordings of other people and combines every view that it is given: as hard as "
            "the hardest of them. With one view it is as hard as that, and a learned model more.",
        ),
        "injection": _effort(
            "1-month", "expert", "public", "moderate", "specialised",
            "Drives both sensors with its own waveform, from near by or through what the victim holds.",
        ),
        "helper-tamper": _effort(
            "1-week", "proficient", "public", "easy", "standard",
            "Stands between the devices and changes messages; the second device answers as often as asked.",
        ),
        "denial": _effort(
            "1-day", "proficient", "public", "easy", "standard",
            "Disturbs a sensor or changes a message: no secret is learned.",
        ),
    }
)  # fmt: skip
"""By the name of the attack."""
