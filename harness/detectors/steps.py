"""What helper data tell whoever knows one key of a person about the next."""

from __future__ import annotations

from harness.detectors.detection import Detection, found, untested
from harness.detectors.evidence import Evidence, named, signs
from harness.detectors.helper_bits import first_elements, helper_bits, listed
from harness.detectors.order import consecutive
from harness.detectors.tails import least_rows
from harness.detectors.tied import strongest_ties

__all__ = ["helper_steps"]


def helper_steps(data: Evidence) -> Detection:
    """Helper bits that turn, from a person's attempt to the next, when key bits do.

    A mask that stays with the person hides the key from everybody but not one key from the other: what is
    published of both gives their difference. Under the null steps of keys are independent and uniform.
    """
    slug = "helper-steps"
    if not data.helper:
        return untested(slug, "the scheme publishes no helper data")
    helper, left_out = first_elements(data.helper)
    bits, columns = helper_bits(helper)
    if not columns:
        return untested(slug, "no helper array varies")
    first, second = consecutive(data)
    need = least_rows(len(columns) * data.key_bits)
    if len(first) < need:
        reason = f"{need} keys that follow another of the same person could show it, not {len(first)}"
        return untested(slug, reason)
    turned = signs(bits[first] ^ bits[second])
    steps = signs(data.keys[first] ^ data.keys[second])
    tie = strongest_ties([turned], steps, data.subject[second])
    told = listed(list(dict.fromkeys(columns[i] for i in tie.columns)))
    text = f"from a person's key to the next, {named(tie.positions)} turning with {told} {tie.told}"
    if not tie.heard:
        text = f"of {len(columns)} helper bits none turns with a key bit beyond chance"
    return found(slug, tie.p, text + left_out, bits=tie.bits, attempts=len(first), subjects=data.subjects)
