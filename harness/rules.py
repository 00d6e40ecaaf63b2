"""The rules that make findings: what each says, what to do about it, and why it seldom cries wolf."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from harness.rows import SEVERITIES

__all__ = ["BLIND", "FAMILY_LEVEL", "FLAGGED", "KINDS", "RULES", "SHARE", "TO_HOLDERS", "Rule"]

FLAGGED = frozenset({"medium", "high", "critical"})
"""Severities that a sound scheme must not be given."""
BLIND = "blind-"
"""What the findings of scheme-blind detectors begin with; the name of the detector follows."""
TO_HOLDERS = ("key-subject", "key-counter", "helper-steps")
"""Detectors of what gives away a key to whoever holds another one of the person."""
FAMILY_LEVEL = 0.01
"""Chance that a sound scheme is flagged in one audit of it, shared by all tests.

Each kind of test gets the same share of it, and shares it among its own: odds and views among attacks, and
odds among budgets too; entropy among the sources fitted; blind detectors and tests of randomness by Holm's
procedure.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule.

    Attributes
    ----------
    id : str
        Of its findings.
    severities : tuple of str
        That its findings may have.
    says : str
        What a finding says, in a sentence.
    remedy : str
        What to do; empty where that depends on the adversary.
    kind : str
        Of test, whose share of `FAMILY_LEVEL` it spends; empty where it spends none.
    certain : str
        Of rules that may flag and spend nothing: why a sound scheme cannot be flagged.
    """

    id: str
    severities: tuple[str, ...]
    says: str
    remedy: str = ""
    kind: str = ""
    certain: str = ""

    def __post_init__(self) -> None:
        unknown = [s for s in self.severities if s not in SEVERITIES]
        if unknown or not self.severities:
            raise ValueError(f"`severities` must be of {', '.join(SEVERITIES)}, got {self.severities}")
        flags = bool(FLAGGED.intersection(self.severities))
        if bool(self.kind) + bool(self.certain) != flags:
            raise ValueError(
                f"rule {self.id}: what may flag must spend a share or be certain, and what may not neither"
            )


_CUT = "Find where the named key bits and arrays meet; cut that tie, or disclose it, so that it is charged."
_BLIND = {
    "key-bits": "Single key bits prefer one value.",
    "key-bit-pairs": "Pairs of key bits are alike, or unlike, more often than chance has it.",
    "key-blocks": "Some values of parts of the key come too often.",
    "key-repeats": "People share keys, or parts of keys, more often than chance has it.",
    "key-subject": "Keys of one person are more alike than those of two.",
    "key-circumstances": "Key bits follow the session, the attempt or the time of sensing.",
    "key-counter": "Keys of one person that follow each other differ by what repeats.",
    "helper-affine": "Sums of key bits and of helper bits are constant.",
    "helper-values": "Values of the helper data tell key bits.",
    "helper-steps": "Changes of the helper data tell changes of the key.",
    "helper-learned": "A map learned from helper data of other people tells key bits.",
    "helper-linkage": "Helper data tell whether two of them are of one person.",
}

_ALL = (
    Rule(
        id="odds-above-promise",
        severities=("low", "medium", "high", "critical"),
        says="Within some number of guesses an adversary finds the key more often than uniform keys allow.",
        kind="odds",
    ),
    Rule(
        id="view-tells-attempts-apart",
        severities=("medium",),
        says="What an adversary sees tells an attempt from others of the same person.",
        kind="views",
    ),
    Rule(
        id="strangers-agree",
        severities=("high", "critical"),
        says="Another person's body agrees on A's key more often than a guess would.",
        remedy="Correct fewer errors, or use a signal that differs more between people.",
        kind="strangers",
    ),
    Rule(
        id="keys-repeat",
        severities=("high",),
        says="More keys are equal than uniform ones would be.",
        remedy="Look for a small seed or a saturated quantiser; draw every key from fresh signal.",
        kind="repeats",
    ),
    Rule(
        id="less-entropy-than-promised",
        severities=("medium",),
        says="Given the helper data, a source fitted to these people leaves over a bit less than promised.",
        remedy="Shorten the key to the entropy left, or collect more signal per key.",
        kind="entropy",
    ),
    Rule(
        id="randomness-failed",
        severities=("medium",),
        says="The keys, one after the other, fail tests of randomness.",
        remedy="Find where the structure comes from; no extractor makes up for missing entropy.",
        kind="randomness",
    ),
    *(
        Rule(
            id=f"{BLIND}{slug}",
            severities=("medium", "high") if slug in TO_HOLDERS else ("medium", "high", "critical"),
            says=says,
            remedy=_CUT,
            kind="detectors",
        )
        for slug, says in _BLIND.items()
    ),
    Rule(
        id="witness-constant",
        severities=("high",),
        says="The witness is one symbol throughout.",
        remedy="Repair the quantiser: its thresholds do not fit this signal.",
        certain="keys of so many attempts leave a constant witness a chance below 2^-32",
    ),
    Rule(
        id="opened-by-trials",
        severities=("low", "medium", "high"),
        says="Trying sets of a published list of features opens the key sooner than trying keys.",
        remedy="List more features beside the genuine ones, or demand more of them.",
        certain="the sets of the lists that were published are counted, not estimated",
    ),
    Rule(
        id="disclosure-wrong",
        severities=("medium",),
        says="What the scheme discloses of its helper data does not fit the runs.",
        remedy="Correct the disclosure of the helper data; their leak is understated.",
        certain="a true disclosure fits every run",
    ),
    Rule(
        id="enumeration-disagrees",
        severities=("high",),
        says="Keys listed best first do not bear out the ranks that were computed.",
        remedy="Report it with the record of this audit: one of two computations here is wrong.",
        certain="both compute the same number, one of them between bounds",
    ),
    Rule(
        id="channels-overlap",
        severities=("note",),
        says="Channels share entropy that figures for independent symbols count twice.",
        remedy="Quote the joint entropy of the channels, not the sum.",
    ),
    Rule(
        id="helper-not-covered",
        severities=("note",),
        says="Nothing discloses what some helper arrays say of the key.",
        remedy="Disclose what these arrays say of the witness, or publish less.",
    ),
    Rule(
        id="sees-more-gets-less",
        severities=("note",),
        says="An adversary reads all that another reads and gains less.",
        remedy="Take the better of the two figures for what such a view gives.",
    ),
    Rule(
        id="relay-shares-keys",
        severities=("note",),
        says="A device that is sent live messages shares keys.",
        remedy="Bound the time or the distance of the exchange; signals alone do not tell a relay.",
    ),
    Rule(
        id="plug-in-failed",
        severities=("note",),
        says="An attack failed, and says nothing of the scheme.",
        remedy="Repair the plug-in and run again.",
    ),
    Rule(
        id="one-person",
        severities=("note",),
        says="All attempts are of one person.",
        remedy="Record more people before deciding anything about people.",
    ),
    Rule(
        id="simulated",
        severities=("note",),
        says="All people are simulated.",
        remedy="Confirm on recordings of people before relying on these figures.",
    ),
    Rule(
        id="role-not-read",
        severities=("note",),
        says="The corpus holds captures that no attack reads.",
        remedy="Run an adversary that reads this role, or leave it out of the corpus.",
    ),
)

RULES: Mapping[str, Rule] = MappingProxyType({rule.id: rule for rule in _ALL})
"""By id."""
KINDS = tuple(dict.fromkeys(rule.kind for rule in _ALL if rule.kind))
"""Kinds of tests that share `FAMILY_LEVEL`."""
SHARE = FAMILY_LEVEL / len(KINDS)
"""Chance that one kind of test flags a sound scheme in one audit of it."""
