"""Learned attacks: all that the views hold, nothing from strangers, and never less than a plain attack."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm
from sklearn.linear_model import LogisticRegression

from attacks.distant_sensor import DistantSensor
from attacks.profiled import Profiled
from fixtures.controls import Channel, SignCommitment
from harness import audit
from harness.results import Audit

PEOPLE, ATTEMPTS, SIGNS = 30, 4, 23


def sign_information(rho: float) -> float:
    """Bits that a Gaussian reading of correlation rho tells of a sign, by quadrature over the reading."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(120)
    p = norm.cdf(rho * nodes / np.sqrt(1 - rho**2))
    p = np.clip(p, 1e-12, 1 - 1e-12)
    left = -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
    return float(1 - (weights @ left) / np.sqrt(2 * np.pi))


def audited(correlations: dict[str, float], attacks: list, *, shuffled: bool = False) -> Audit:
    channel = Channel(
        subjects=PEOPLE,
        sessions=1,
        attempts=ATTEMPTS,
        length=SIGNS,
        correlations=tuple(correlations.items()),
        shuffled=shuffled,
    )
    return audit(SignCommitment(), attacks=attacks, corpus=channel)


def gain(result: Audit, attack: str) -> float:
    row = result.select(attack=attack, measure="mutual-information", unit="bit/symbol")[0]
    assert row.value is not None
    return row.value


def test_the_quadrature_gives_the_published_values() -> None:
    assert [round(sign_information(rho), 4) for rho in (0.5, 0.8, 0.9)] == [0.1252, 0.3846, 0.55]


def test_one_gaussian_view_is_used_to_the_full() -> None:
    result = audited({"remote": 0.8}, [Profiled(view="remote"), DistantSensor()])
    truth, hard = sign_information(0.8), 0.2685
    # 120 x 23 signs: a standard error of about .012
    assert gain(result, "profiled-remote") == pytest.approx(truth, abs=0.05)
    assert gain(result, "profiled-remote") > hard + 0.04
    (row,) = result.select(measure="gain-over")
    assert (row.attack, row.method) == ("distant-sensor", "profiled-remote")
    assert row.low is not None
    assert row.low <= 0  # the plain attack is not told apart from it as the better one


def test_two_views_are_joined() -> None:
    """Two readings with noise of their own are worth one with half of it."""
    result = audited({"remote": 0.6, "other-site": 0.6}, [Profiled(), DistantSensor()])
    joint = np.sqrt(2 * 0.36 / 1.36)
    assert gain(result, "profiled") == pytest.approx(sign_information(float(joint)), abs=0.05)
    (row,) = result.select(attack="profiled", measure="gain-over")
    assert row.low is not None
    assert row.low > 0
    assert "more" in str(row.reason)


def test_strangers_tell_nothing() -> None:
    result = audited({"remote": 0.95, "other-site": 0.95}, [Profiled()], shuffled=True)
    row = result.select(attack="profiled", measure="mutual-information", unit="bit/symbol")[0]
    assert row.low == 0
    assert result.select(attack="profiled", measure="success-odds", budget=1)[0].value < 0.05


def test_any_estimator_of_scikit_learn_serves() -> None:
    result = audited({"remote": 0.8}, [Profiled(view="remote", estimator=LogisticRegression())])
    assert gain(result, "profiled-remote") == pytest.approx(sign_information(0.8), abs=0.05)


def test_a_corpus_without_views_leaves_the_prior() -> None:
    result = audited({}, [Profiled()])
    assert result.select(attack="profiled", measure="success-odds", budget=1)[0].value < 0.05


@pytest.mark.slow
def test_on_muscle_it_gains_over_the_plain_attacks() -> None:
    views = {"mimic": "mimicry", "other-site": "body-site", "camera": "camera"}
    attacks = [Profiled(), *(Profiled(view=v) for v in views), *views.values()]
    result = audit("envelope-trend", attacks=attacks, subjects=30, jobs=2)
    rows = {(r.attack, r.method): r for r in result.select(measure="gain-over")}
    for view, plain in views.items():
        names = (f"profiled-{view}", plain)
        one = rows.get(names) or rows.get(names[::-1])
        assert one is not None
        better = one.low > 0 if one.attack == names[0] else one.high < 0
        assert better, (view, one.value, one.low, one.high)
        assert rows[("profiled", plain)].low > 0
    assert not [f for f in result.findings if f.id == "sees-more-gets-less"]
