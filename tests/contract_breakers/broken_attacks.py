"""An attack for each promise of an attack, which it breaks."""

import os
import tempfile

import numpy as np

from contract_breakers.sound_attacks import Asker, Guesser, Sound, Writer
from harness.contracts import Belief, Guesses


class SeesAList(Sound):
    sees = ["remote"]  # noqa: RUF012 - the flaw


class NeedsHelp(Sound):
    """Reads helper data that it does not name."""

    def believe(self, view, *, rng):
        first = next(iter(view.helper.values()))
        return Belief(log_prob=super().believe(view, rng=rng).log_prob + 0.0 * first.sum())


class AlwaysFails(Sound):
    def believe(self, view, *, rng):
        raise RuntimeError("out of luck")


class HalfAProbability(Sound):
    def believe(self, view, *, rng):
        return Belief(log_prob=super().believe(view, rng=rng).log_prob + np.log(0.5))


class GuessesTooMuch(Guesser):
    def believe(self, view, *, rng):
        return Guesses(keys=np.zeros((view.attempts, 4097, view.scheme.key_bits), np.uint8))


class WorksBackwards(Sound):
    def believe(self, view, *, rng):
        return Belief(log_prob=super().believe(view, rng=rng).log_prob, work=-1.0)


class RatesItselfOddly(Sound):
    potential = {  # noqa: RUF012 - as attacks state it
        "elapsed_time": "an-afternoon",
        "expertise": "layman",
        "knowledge": "public",
        "window": "easy",
        "equipment": "standard",
        "rationale": "it says so",
    }


class WantsItsWish(Sound):
    """Has people to learn from among its wishes, and cannot do without."""

    def error(self, known):
        return 0.05 + 0.1 * float(known.witness.symbols.mean())


class TakesWhatIsThere(Sound):
    """Looks at a mimic, if one happens to be there."""

    def believe(self, view, *, rng):
        role = "mimic" if "mimic" in view.captures else "remote"
        seen = view.scheme.witness(view.captures[role]).symbols
        return Belief(log_prob=self.logs(seen, self.error(view.population)))


class LooksUpAMimic(Sound):
    """Looks for a mimic and makes nothing of it."""

    def believe(self, view, *, rng):
        view.captures.get("mimic")
        return super().believe(view, rng=rng)


class DrawsFromTheSystem(Sound):
    def error(self, known):
        return 0.1 + 0.1 * np.random.default_rng().random()


class WritesToTheView(Sound):
    """Takes the mean off where it stands, if it may."""

    def believe(self, view, *, rng):
        found = super().believe(view, rng=rng)
        if view.captures["remote"].samples.flags.writeable:
            view.captures["remote"].samples[:] += 1.0
        return found


class StirsTheGlobalCoins(Sound):
    def believe(self, view, *, rng):
        np.random.mtrand.random_sample()
        return super().believe(view, rng=rng)


class ChangesErrors(Sound):
    """Once set they stay: later calls change nothing."""

    def believe(self, view, *, rng):
        np.seterr(divide="ignore", under="warn")
        return super().believe(view, rng=rng)


class LeavesAFile(Sound):
    def believe(self, view, *, rng):
        with open(os.path.join(tempfile.gettempdir(), "contract-breaker.txt"), "w") as file:
            file.write("was here")
        return super().believe(view, rng=rng)


class CountsTheOthers(Sound):
    """The surer, the more attempts there are."""

    def believe(self, view, *, rng):
        seen = view.scheme.witness(view.captures["remote"]).symbols
        return Belief(log_prob=self.logs(seen, 0.1 / (1 + view.attempts)))


class LosesAParameter(Sound):
    """Comes out of a pickle, and of a copy, as it is by default."""

    def __init__(self, bold=0.0):
        self.bold = bold

    def __reduce__(self):
        return type(self), ()

    def error(self, known):
        return super().error(known) - self.bold


class WritesTooLittle(Writer):
    def interfere(self, captures, *, rng):
        added, notes = super().interfere(captures, rng=rng)
        return added, {"phase": notes["phase"][:-1]}


class OneNameForAll(Writer):
    def variants(self):
        return [Writer()]


class AsksForEver(Asker):
    def believe(self, view, *, rng):
        found = super().believe(view, rng=rng)
        try:
            while True:
                view.device(dict(view.helper))
        except RuntimeError:
            return found


class FallsOverSpikes(Sound):
    def believe(self, view, *, rng):
        if (view.captures["remote"].samples >= 1e6).any():
            raise OverflowError("too loud")
        return super().believe(view, rng=rng)


BROKEN = {
    "members-there": (SeesAList, ()),
    "declares-what-it-needs": (NeedsHelp, ()),
    "attack-answers": (AlwaysFails, ()),
    "beliefs-normalised": (HalfAProbability, ()),
    "guesses-well-formed": (GuessesTooMuch, ()),
    "work-in-range": (WorksBackwards, ()),
    "potential-rated": (RatesItselfOddly, ()),
    "wishes-may-be-missing": (WantsItsWish, ()),
    "undeclared-changes-nothing": (TakesWhatIsThere, ()),
    "undeclared-not-looked-up": (LooksUpAMimic, ()),
    # coins of the system's are others at every question
    "same-stream-same-output": (DrawsFromTheSystem, ("undeclared-changes-nothing", "survives-pickling")),
    "rows-stand-alone": (CountsTheOthers, ()),
    "survives-pickling": (LosesAParameter, ()),
    "interference-well-formed": (WritesTooLittle, ()),
    "strengths-well-formed": (OneNameForAll, ()),
    "query-budget-kept": (AsksForEver, ()),
    "any-view-answered": (FallsOverSpikes, ()),
    "inputs-untouched": (WritesToTheView, ()),
    "random-state-untouched": (StirsTheGlobalCoins, ()),
    "environment-untouched": (ChangesErrors, ()),
    "files-untouched": (LeavesAFile, ()),
}
"""Check -> the attack that breaks it, and other checks that cannot but bite as well."""


def broken_attack(check):
    """The plug-in that breaks a check."""
    kind = BROKEN[check][0]
    return kind(0.05) if kind is LosesAParameter else kind()
