"""Ready-made claims, named for what they ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from harness.claims.model import Claim, Requirement, Use

__all__ = ["PRESETS", "Preset"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Preset:
    """A requirement, the claims that answer to it, and the use of the key that they presume, if any."""

    requirement: Requirement
    claims: tuple[Claim, ...]
    use: Use | None = None


def _preset(name: str, text: str, *claims: Claim, use: Use | None = None) -> Preset:
    return Preset(requirement=Requirement(id=name, text=text), claims=claims, use=use)


PRESETS: Mapping[str, Preset] = MappingProxyType(
    {
        "twenty-volunteers": _preset(
            "twenty-volunteers",
            "What twenty people can show: an adversary's first guess opens at most one key in twenty, and "
            "the owner's devices agree nine times in ten.",
            Claim(
                id="twenty-volunteers.odds",
                measure="success-odds",
                attack="all",
                budget=1,
                at_most=0.05,
                requirement="twenty-volunteers",
                # at an intra-class correlation of .2 a person is worth at most five attempts, and no
                # success of 100 independent ones leaves odds of up to 1 - .05^(1/100) = .0295 (an
                # identity); twenty people with ten attempts each are worth 71, which leaves .041
                rationale="No success on twenty people with ten attempts each leaves odds of up to .041.",
            ),
            Claim(
                id="twenty-volunteers.agreement",
                measure="key-agreement",
                at_least=0.9,
                requirement="twenty-volunteers",
                rationale="A key that the owner fails to get one time in ten is tried again.",
            ),
        ),
        "short-code-password-authenticated": _preset(
            "short-code-password-authenticated",
            "A short code that is compared by a password-authenticated exchange resists guessing over its "
            "lifetime as a random code of six digits does.",
            Claim(
                id="short-code-password-authenticated.lifetime-odds",
                measure="success-odds",
                attack="all",
                budget="use",
                # NIST SP 800-63B (revision 3) section 5: random secrets of at least six digits, at most 100
                # consecutive failures; 100 guesses at one of 10^6 are 1e-4
                at_most=1e-4,
                requirement="short-code-password-authenticated",
                rationale="At most 100 failures at one of 10^6 codes (NIST SP 800-63B rev. 3, section 5).",
            ),
            use=Use(kind="password-authenticated", key="lasting", tries_per_session=1, sessions=100),
        ),
        "128-bit-off-line": _preset(
            "128-bit-off-line",
            "A guesser who holds the helper data and guesses off line faces 128 bits.",
            *(
                Claim(
                    id=f"128-bit-off-line.{source}",
                    measure="min-entropy",
                    unit="bit",
                    method=f"average-given-helper-{source}",
                    # the length of key that counts as out of reach of guessing (common practice)
                    at_least=128.0,
                    evidence=("exact", "modelled"),
                    requirement="128-bit-off-line",
                    rationale="2^64 guesses cannot test 128 bits, so only entropy that is exact or "
                    "modelled can tell; a model's figure withstands at most.",
                )
                # pooled over people, whose scatter gives the intervals
                for source in ("independent-symbols", "markov")
            ),
        ),
    }
)
"""By name."""
