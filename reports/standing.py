"""The words that every threat report carries, whatever was audited."""

from __future__ import annotations

__all__ = [
    "ADVICE",
    "ADVICE_BY_FINDING",
    "ASSETS",
    "ASSUMPTIONS",
    "BOUNDARIES",
    "CAUTIONS",
    "DEFAULT_ADVICE",
    "METHOD",
]

ASSETS = (
    ("The key", "unknown to everyone but the two devices, as hard to guess as its length promises"),
    (
        "The agreement",
        "the devices of one body end with equal keys, in bounded time, or both notice that they do not",
    ),
    (
        "The body's signals",
        "helper data and messages tell nobody more about the wearer than the exchange needs",
    ),
    ("Freshness", "a key that was learned once opens neither earlier nor later sessions"),
    ("Exclusivity", "a device on another body does not come to the key"),
)

BOUNDARIES = (
    ("Device A", "its capture, its witness, its key", "trusted: runs the scheme as published"),
    ("Device B", "its capture, its witness, its key", "trusted: runs the scheme as published"),
    (
        "Body to sensor",
        "what each owner's sensor records",
        "reachable by adversaries who interfere with a sensor",
    ),
    (
        "Public channel",
        "helper data and every message",
        "read in full by every adversary who sees helper data",
    ),
    (
        "Adversary's sensors",
        "the roles listed for each adversary",
        "under the adversary's control, synchronised",
    ),
    (
        "Other people",
        "captures, helper data and keys of the population",
        "open to any adversary who learns",
    ),
)

ASSUMPTIONS = (
    "Every adversary knows the scheme, its code, its quantiser and its timing; only the body's signal "
    "is secret.",
    "Adversaries use error-correcting decoders and soft decisions, search for the lag, and may learn "
    "from "
    "other people; what the owner's device can compute, they can compute.",
    "Both devices are intact: malware, side channels of the processor and stolen devices lie outside "
    "this report.",
    "An attack bounds security from one side. That it finds nothing does not show that nothing can be "
    "found.",
)

METHOD = (
    "Whole subjects are the units: adversaries learn on some subjects and attack others, and intervals "
    "allow for the likeness of attempts of one subject.",
    "An attempt whose capture yields no witness is a failure of the exchange. It is counted, not dropped.",
    "Success odds are given per established key: the share of keys that are among the first G guesses. "
    "Equally likely keys share their places in the order of guessing.",
    "No success among n keys is an upper limit, not zero odds. Smaller odds come from enumeration "
    "(exact) or from a model whose assumption is printed (modelled).",
    "A verdict compares odds with what the key's length promises, G / 2^n for n bits. An adversary gains "
    "if the lower limit of the odds lies above that at any budget.",
    "Each row says what it bounds, what it rests on, and how many people and attempts stand behind it.",
)

CAUTIONS = (
    ("Evidence, not a certificate", "every figure holds under the adversaries and assumptions named "
    "here. The decision "
     "belongs to qualified reviewers under the rules of their place."),
    ("Consent", "people are recorded only with their informed consent, and with the approval of an "
    "ethics board "
     "where the law asks for one."),
    ("Electrodes", "electrodes go on people only through isolated, battery-powered amplifiers built for "
    "that "
     "purpose (IEC 60601 family)."),
    ("Health data", "recordings of bodies are health data. Subjects appear by pseudonym only, and this "
    "report "
     "carries no raw signal."),
)  # fmt: skip

DEFAULT_ADVICE = "Not stated by the audit; decide with the designers of the scheme."

ADVICE = {
    "population": (
        "Measure the min-entropy of the source for the worst subject and extract no more than that."
    ),
    "helper-leak": (
        "Charge the helper data against the min-entropy left and shorten the key "
        "accordingly, or publish less."
    ),
    "mimicry": "Lengthen the record, or use features that cannot be copied by copying the gesture.",
    "distant-sensor": (
        "State the distance at which the promise holds, and use a signal that does not carry that far."
    ),
    "body-site": (
        "Use a signal that differs between places on the body, or demand that nothing else touches it."
    ),
    "replay": "Bind every key to fresh signal: reject a record that resembles an earlier one.",
}

ADVICE_BY_FINDING = {
    "strangers-agree": "Correct fewer errors, or use a signal that differs more between people.",
    "less-entropy-than-promised": "Shorten the key to the entropy left, or collect more signal per key.",
    "witness-constant": "Repair the quantiser: its thresholds do not fit this signal.",
    "keys-repeat": "Look for a small seed or a saturated quantiser; draw every key from fresh signal.",
    "disclosure-wrong": "Correct the disclosure of the helper data; their leak is understated.",
    "helper-not-covered": "Disclose what these arrays say of the witness, or publish less.",
    "plug-in-failed": "Repair the plug-in and run again.",
    "one-person": "Record more people before deciding anything about people.",
    "simulated": "Confirm on recordings of people before relying on these figures.",
    "role-not-read": "Run an adversary that reads this role, or leave it out of the corpus.",
}
