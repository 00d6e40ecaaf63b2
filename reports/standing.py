"""The words that every threat report carries, whatever was audited."""

from __future__ import annotations

__all__ = [
    "ADVICE",
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
    "camera": "Use what no camera sees of effort or pulse: finer timing, or potentials of the skin.",
    "profiled": (
        "Answer the findings on its single views first; what they leave together bounds the key that "
        "can be kept."
    ),
    "past-keys": "Draw fresh randomness into every key, and let no session tell of the next.",
    "touching-partner": "State that nobody may touch the wearer, or use a signal that skin does not carry.",
    "neighbour": "Use nothing that two people share: hum, a common rhythm, a common clock.",
    "key-check": "Check the whole key at once, slowly and with a salt; publish no check value of a part.",
    "helper-reuse": "Enrol once, or with a fresh witness; publish no new equations on an old one.",
    "helper-tamper": "Bind helper data by a check that the key protects, and count failed attempts.",
    "injection": "Reject records that saturate, fall silent or are too much alike across sensors.",
    "denial": "Expect jamming: let the user fall back on another way, never on a weaker key.",
    "relay": "Bound the time or the distance of the exchange; signals alone do not tell a relay.",
    "enumeration": "Lengthen what is left of the key, or slow every guess down.",
}
