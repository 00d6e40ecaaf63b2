"""Whether a candidate and a baseline may be compared, and what a reader must know of the two."""

from __future__ import annotations

from harness.baseline import Baseline, Scheme
from harness.errors import UsageError
from harness.plugins import file_of

__all__ = ["notices_of", "require_comparable"]


def require_comparable(new: Baseline, old: Baseline, against: str) -> None:
    """Refuse what was not measured on the same people, with the same streams and attacks.

    Raises
    ------
    UsageError
        What differs, and what to do.
    """

    def refuse(what: str, was: object, now: object, do: str) -> None:
        raise UsageError(f"the {against} must be of {what}, got {was} there and {now} here; {do}")

    again = "run the audit as it was run then, or make a new baseline with a reason"
    for field in ("digest", "subjects", "sessions", "attempts"):
        was, now = getattr(old.corpus, field), getattr(new.corpus, field)
        if was != now:
            label = "the same people and recordings" if field == "digest" else f"as many {field}"
            refuse(label, str(was)[:12], str(now)[:12], again)
    if old.seed != new.seed:
        refuse("the same seed", old.seed, new.seed, again)
    if (len(old.schemes) == 1) != (len(new.schemes) == 1):
        refuse("as many schemes", len(old.schemes), len(new.schemes), again)
    was_run, now_run = _run(old), _run(new)
    if was_run != now_run:
        differing = sorted(n for n in was_run.keys() | now_run.keys() if was_run.get(n) != now_run.get(n))
        raise UsageError(
            f"the {against} must be of the same attacks with the same parameters, got another "
            f"{differing[0]}; give the same --attack options, or compare two versions of the scheme under "
            "this set of attacks with `keyassay gate --old SCHEME --new SCHEME`, then make a new baseline"
        )


def _run(side: Baseline) -> dict[str, tuple[object, str]]:
    """Attacks with their parameters; those of a foreign one are known only as they were written."""
    written = {a.name: file_of(a.source) for a in side.attacks}
    return {a.name: (a.parameters, (written[a.name] or (None, ""))[1]) for a in side.attacks}


def notices_of(new: Baseline, old: Baseline, against: str) -> list[str]:
    """Other versions, other code, withdrawn people, other names and key lengths, hidden helper data."""
    found = []
    changed = sorted(n for n in old.versions if new.versions.get(n) != old.versions[n])
    if changed:
        what = ", ".join(f"{n} {old.versions[n]} -> {new.versions.get(n, 'none')}" for n in changed)
        found.append(
            f"The {against} was made with other versions ({what}): harm may come from stronger attacks "
            "as well as from a weaker scheme; `keyassay gate --old SCHEME --new SCHEME` tells them apart."
        )
    digests = {a.name: a.digest for a in old.attacks}
    edited = [a.name for a in new.attacks if a.digest and digests.get(a.name) not in (None, a.digest)]
    if edited:
        found.append(f"The code of these attacks is not that of the {against}: {', '.join(edited)}.")
    if old.withdrawn:
        found.append(f"From the {against} {old.withdrawn} people were withdrawn; the others are compared.")
    for scheme in new.schemes:
        was = next((s for s in old.schemes if len(old.schemes) == 1 or s.name == scheme.name), None)
        if was is not None:
            found += _about_scheme(scheme, was, against)
    return found


def _about_scheme(scheme: Scheme, was: Scheme, against: str) -> list[str]:
    found = []
    if scheme.name != was.name:
        found.append(f"{was.name} of the {against} is compared with {scheme.name}: a name changes nothing.")
    if scheme.key_bits != was.key_bits:
        found.append(f"Keys had {was.key_bits} bits in the {against} and have {scheme.key_bits} here.")
    hidden = sorted(set(scheme.uncovered) - set(was.uncovered))
    if hidden:
        found.append(
            f"{scheme.name} publishes helper data that nothing discloses or attacks, and that the "
            f"{against} did not: {', '.join(hidden)}."
        )
    return found
