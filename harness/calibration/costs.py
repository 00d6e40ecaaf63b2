"""How long a calibration will take, told from one small audit."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

from harness import in_house, plugins
from harness.calibration.cases import Case
from harness.calibration.model import Control
from harness.calibration.trials import one_trial
from harness.view import needs

__all__ = ["estimate", "told_time", "work"]

_SMALL = 30  # people of the yardstick
_SENSING, _READING = 1.0, 0.2
_TRIED = 3  # yardsticks, one after the other, before the time is left untold
_ACTING = 1.0  # on top, for running the devices again under a disturbance


def work(control: Control) -> float:
    """Attempts, times one for the honest pair and as much again for each adversary who senses.

    Measured on 600 attempts of the shuffled pairs, in parts of what the honest pair alone takes: 0.6–1.7
    for one who senses, 0.05–0.5 for one who only reads, 1.6–1.9 for one who writes to a sensor.
    """
    attempts = sum(sitting.attempts for sitting in control.corpus.sittings())
    return float(attempts * (1 + sum(_weight(attack) for attack in control.attacks)))


def _weight(attack: Any) -> float:
    parts = attack.split("+") if isinstance(attack, str) and plugins.file_of(attack) is None else [attack]
    return sum(_weight_of_one(part) for part in parts)


def _weight_of_one(attack: Any) -> float:
    if isinstance(attack, str):
        if attack in in_house.NAMES:
            return _READING
        if not plugins.ours("attack", attack):
            return _SENSING  # a stranger's file is not opened to look at it
        attack = plugins.resolve("attack", attack).value
    roles, _ = needs(attack)
    return (_SENSING if roles else _READING) + (_ACTING if hasattr(attack, "interfere") else 0.0)


def estimate(
    cases: Sequence[Case],
    *,
    seeds: int,
    seed: int,
    jobs: int,
    clock: Callable[[], float] = time.process_time,
) -> float | None:
    """Seconds that all trials will take, from one small audit of the case with the least work.

    Trials may differ from it by a factor of two either way: a harder code, a longer record. What counts is
    the time of processors, so that whatever else is running changes nothing; who shares them waits longer.
    Cases that cannot be weighed are left out, and one that fails is no yardstick: the next one is timed.
    None if a few of them failed, or none could be weighed.
    """
    amounts = [(amount, case.control) for case in cases if (amount := _told_work(case.control))]
    for _, control in sorted(amounts, key=lambda pair: pair[0])[:_TRIED]:
        small = _smaller(control)
        amount = _told_work(small)
        if not amount or one_trial(small, seed, 0).failure is not None:  # this one loads libraries
            continue
        start = clock()
        one_trial(small, seed, 0)
        spent = clock() - start
        return spent / amount * sum(a for a, _ in amounts) * seeds / min(jobs, seeds * len(cases))
    return None


def _told_work(control: Control) -> float:
    """The work of a control, 0 where it cannot be told: its trials will say what is wrong with it."""
    try:
        return work(control)
    except (Exception, SystemExit):  # noqa: BLE001 - strangers' parts may raise anything
        return 0.0


def _smaller(control: Control) -> Control:
    corpus = control.corpus
    known = is_dataclass(corpus) and any(f.name == "subjects" for f in fields(corpus))
    if not known or corpus.subjects <= _SMALL:
        return control
    try:
        return replace(control, corpus=replace(corpus, subjects=_SMALL))
    except (Exception, SystemExit):  # noqa: BLE001 - a stranger's corpus may want more people
        return control


def told_time(seconds: float | None, *, trials: int, jobs: int) -> str:
    """The estimate in words; None: it cannot be told.

    Examples
    --------
    >>> told_time(1234.5, trials=280, jobs=2)
    'about 21 minutes for 280 trials on 2 processes, undisturbed'
    >>> told_time(20.0, trials=4, jobs=1)
    'under a minute for 4 trials on 1 process, undisturbed'
    """
    many = f"{trials} trial{'s' * (trials > 1)} on {jobs} process{'es' * (jobs > 1)}"
    if seconds is None:
        return f"a time that cannot be told for {many}: no trial to time it by worked"
    minutes = round(seconds / 60)
    length = "under a minute" if minutes < 1 else f"about {minutes} minute{'s' * (minutes > 1)}"
    return f"{length} for {many}, undisturbed"
