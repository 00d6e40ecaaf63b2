"""All controls and flaws over many seeds, and what the promises of the harness come to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from harness.calibration import verdicts
from harness.calibration.alarms import alarm_lines, alarms_in_all, rule_lines
from harness.calibration.cases import Case, cases_of, registered
from harness.calibration.chance import chance_lines
from harness.calibration.costs import estimate, told_time
from harness.calibration.coverage import coverage_lines, truth_lines
from harness.calibration.detection import detection_lines
from harness.calibration.lines import Trial
from harness.calibration.model import Control, Flaw
from harness.calibration.record import Calibration
from harness.calibration.trials import all_trials, troubles
from harness.choosing import versions
from harness.errors import UsageError

__all__ = ["QUICK", "SEEDS", "calibrate", "weighed"]

SEEDS, QUICK = 20, 2


def calibrate(
    controls: Iterable[Control] | None = None,
    flaws: Iterable[Flaw] | None = None,
    *,
    seeds: int = SEEDS,
    seed: int = 0,
    jobs: int = 1,
    only: Sequence[str] = (),
    progress: Callable[[str, int, int], None] | None = None,
    told: Callable[[str], None] | None = None,
) -> Calibration:
    """Measure how far the harness can be trusted.

    Parameters
    ----------
    controls, flaws : iterable, optional
        Default: all that are registered as `keyassay.controls` and `keyassay.flaws`.
    seeds : int
        Audits of each control, planted flaw and twin, each on people of its own.
    seed : int
        Names all of these seeds.
    jobs : int
        Worker processes. Changes nothing but time.
    only : sequence of str
        Names of controls and flaws to keep; a flaw keeps its twin. Empty: all.
    progress : callable, optional
        Called with (what, done, total).
    told : callable, optional
        Called once with a sentence about how long it will take; without it no time goes into telling.

    Returns
    -------
    Calibration
        A trial that fails is reported there.

    Raises
    ------
    UsageError
        Numbers out of range, unknown names, or nothing to run.
    """
    for name, value, least in (("seeds", seeds, 1), ("jobs", jobs, 1), ("seed", seed, 0)):
        if value < least:
            raise UsageError(f"`{name}` must be at least {least}, got {value}")
    cases = cases_of(
        registered("control") if controls is None else controls,
        registered("flaw") if flaws is None else flaws,
        only,
    )
    if told is not None:
        seconds = estimate(cases, seeds=seeds, seed=seed, jobs=jobs)
        told(told_time(seconds, trials=seeds * len(cases), jobs=jobs))
    trials = all_trials(cases, seeds=seeds, seed=seed, jobs=jobs, progress=progress or (lambda *_: None))
    command = ["keyassay", "calibrate", "--seeds", str(seeds), "--seed", str(seed)]
    command += [word for name in only for word in ("--only", name)]
    return weighed(cases, trials, settings={"seed": seed, "seeds": seeds, "command": command})


def weighed(cases: Sequence[Case], trials: Sequence[Trial], *, settings: dict[str, object]) -> Calibration:
    """What these trials come to; pure, so that made-up trials can be weighed too."""
    trouble = troubles(cases, trials)
    detection = detection_lines(cases, trials)
    sound, rules = alarm_lines(cases, trials), rule_lines(cases, trials)
    alarms = alarms_in_all(sound)
    coverage, truths = coverage_lines(cases, trials), truth_lines(cases, trials)
    chance = chance_lines(cases, trials)
    return Calibration(
        settings=settings,
        versions=versions(),
        verdicts=[
            verdicts.trials_verdict(trouble, len(trials)),
            verdicts.found_verdict(detection),
            verdicts.alarms_verdict(alarms),
            verdicts.noise_verdict(sound, rules),
            verdicts.coverage_verdict(coverage, truths),
            verdicts.chance_verdict(chance),
        ],
        troubles=trouble,
        cases=[case.line for case in cases],
        detection=detection,
        alarms=alarms,
        sound=sound,
        rules=rules,
        coverage=coverage,
        truths=truths,
        chance=chance,
        trials=trials,
    )
