"""Sweeps: what may be varied, the same streams everywhere, the choice, and its check on other people."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixtures.controls import Channel, SignCommitment
from fixtures.scenario import CargoBike
from harness import audit
from harness.contracts import DEVICE_B, Array, Helper, View, Witness
from harness.dominance import dominates
from harness.errors import UsageError
from harness.heldout import Part, fresh_seed, split
from harness.results import Row
from harness.sweeping import sweep
from harness.swept import CURVES, Sweep
from harness.varying import MOST_POINTS, parameters_varied, variant
from schemes.envelope_trend import EnvelopeTrend
from schemes.interval_gray import IntervalGray

CHANNEL = Channel(subjects=6, errors=((DEVICE_B, 0.1), ("remote", 0.2)))
ATTACKS = ["helper-leak", "distant-sensor"]
SHORT = {"code": ("hamming-7-4", "repetition-7")}  # quick to enumerate


def varied(vary: Any, scheme: Any = None, corpus: Any = None) -> list[tuple[str, tuple[Any, ...]]]:
    found = parameters_varied(vary, scheme=scheme or EnvelopeTrend(), corpus=corpus or CargoBike())
    return [(p.label, p.values) for p in found]


def swept(vary: Any, scheme: Any = None, **options: Any) -> Sweep:
    return sweep(
        scheme or SignCommitment(), vary=vary, **{"corpus": CHANNEL, "attacks": ATTACKS, **options}
    )


@pytest.fixture(scope="module")
def two() -> Sweep:
    return swept({"code": ("golay-23-12", "repetition-7", "nonesuch"), "ones": (0.5, 0.3)})


@pytest.mark.parametrize(
    ("text", "label", "values"),
    [
        ("window_s=0.1:0.3:3", "scheme.window_s", (0.1, 0.2, 0.3)),
        ("blocks=1:11:3", "scheme.blocks", (1, 6, 11)),
        ("blocks=11:1:3", "scheme.blocks", (11, 6, 1)),
        ("blocks=1:4:3", "scheme.blocks", (1, 2, 4)),
        ("window_s=1,2", "scheme.window_s", (1.0, 2.0)),
        ("code=golay-24-12,bch-127-64", "scheme.code", ("golay-24-12", "bch-127-64")),
        ("thresholds=(-1,0,1),(0,)", "scheme.thresholds", ((-1, 0, 1), (0,))),
        ("remote_correlation=0.2:0.8:2", "corpus.remote_correlation", (0.2, 0.8)),
        ("corpus.mimic_lag_s=0,0.4", "corpus.mimic_lag_s", (0.0, 0.4)),
        ("separation_mm=10:30:3", "corpus.separation_mm", (10.0, 20.0, 30.0)),
        ("units=100,120", "corpus.units", (100, 120)),
    ],
)
def test_a_parameter_and_its_values_are_read(text: str, label: str, values: tuple[Any, ...]) -> None:
    ((found, got),) = varied(text)
    assert found == label
    assert [type(v) for v in got] == [type(v) for v in values]
    for value, expected in zip(got, values, strict=True):
        assert value == (pytest.approx(expected, rel=1e-12) if isinstance(value, float) else expected)


@pytest.mark.parametrize(
    ("vary", "said"),
    [
        ([], "one or two parameters, got 0"),
        (["window_s=1,2", "blocks=1,2", "key_bits=1,2"], "one or two parameters, got 3"),
        ("windows_s=1,2", "did you mean 'window_s'"),
        ("mimic_lags=1,2", "did you mean 'mimic_lag_s'"),
        ("scheme.mimic_lag_s=1,2", "a parameter of the scheme, got 'mimic_lag_s'"),
        ("name=a,b", "must name a parameter"),
        ("seed=1,2", "must name a parameter"),
        ("subjects=5,6", "must name a parameter"),
        ("window_s", "must read NAME=START:STOP:N"),
        ("window_s=", "must read NAME=START:STOP:N"),
        ("=1,2", "must read NAME=START:STOP:N"),
        ("people.window_s=1,2", "got 'people.window_s'; did you mean 'window_s'"),
        ("window_s=1,,2", "an empty value"),
        ("window_s=1:2", "with numbers and a whole N"),
        ("window_s=1:2:x", "with numbers and a whole N"),
        ("window_s=1:2:3:4", "with finite numbers"),
        ("window_s=nan:2:3", "with finite numbers"),
        ("window_s=0:inf:3", "with finite numbers"),
        ("window_s=1:2:1", "two points or more"),
        ("window_s=1:1:3", "two points or more"),
        ("window_s=1:2:1000000000", f"at most {MOST_POINTS} points"),
        (["window_s=1:2:100", "blocks=1:101:101"], f"at most {MOST_POINTS} points"),
        ("blocks=1:3:9", "there are 3, got N = 9"),
        ("code=1:2:3", "is no number and must be varied by a list"),
        ("window_s=1", "two values or more, got 1"),
        ("window_s=1,2,1", "given once, got 1.0 twice"),
        (["window_s=1,2", "scheme.window_s=1,2"], "varied once"),
    ],
)
def test_what_cannot_be_varied_is_refused_in_one_sentence(vary: Any, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        varied(vary)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_parameter_that_both_have_must_say_whose_it_is() -> None:
    @dataclass(frozen=True)
    class Long(SignCommitment):
        length: int = 3

    with pytest.raises(UsageError, match=r"write scheme\.length or corpus\.length"):
        varied("length=23,24", scheme=Long(), corpus=CHANNEL)
    assert varied("scheme.length=23,24", scheme=Long(), corpus=CHANNEL) == [("scheme.length", (23, 24))]


def test_a_recorded_corpus_has_nothing_to_vary() -> None:
    with pytest.raises(UsageError, match="must name a parameter of the scheme or the corpus"):
        varied("ones=0.5,0.3", scheme=SignCommitment(), corpus=replace(CHANNEL, data="recorded"))


@pytest.mark.parametrize("spec", ["interval-gray", "interval-gray:blocks=1,name=mine", IntervalGray()])
def test_a_variant_keeps_everything_else(spec: Any) -> None:
    from harness.plugins import resolve

    made = resolve("scheme", variant("scheme", spec, {"kept": (1, 2), "cell_s": 0.1 + 0.2})).value
    assert (made.kept, made.cell_s, made.blocks) == ((1, 2), 0.1 + 0.2, 1)


def test_words_that_would_be_read_as_more_parameters_are_refused() -> None:
    with pytest.raises(UsageError, match="must be free of"):
        variant("scheme", "interval-gray", {"code": "a,name=b"})


def test_an_object_that_is_no_dataclass_cannot_be_varied() -> None:
    class Plain:
        name, key_bits, signal = "plain", 8, "value"

    with pytest.raises(UsageError, match="must be a name"):
        variant("scheme", Plain(), {"key_bits": 4})


def test_every_combination_is_a_point_and_a_refused_one_is_shown(two: Sweep) -> None:
    assert [tuple(p.settings.values()) for p in two.points] == [
        (code, ones) for code in ("golay-23-12", "repetition-7", "nonesuch") for ones in (0.5, 0.3)
    ]
    assert [p.status for p in two.points] == ["measured"] * 4 + ["refused"] * 2
    assert "the name of a known code" in str(two.points[4].refusal)
    assert not two.failed


def test_a_point_is_what_an_audit_of_it_alone_finds(two: Sweep) -> None:
    alone = audit(SignCommitment(code="repetition-7"), corpus=replace(CHANNEL, ones=0.3), attacks=ATTACKS)
    point = two.points[3]
    assert point.audit is not None
    assert list(point.audit.rows) == list(alone.rows)
    assert list(point.audit.per_subject) == list(alone.per_subject)
    assert set(point.rows) == set(CURVES)
    assert point.rows["agreement"] == alone.select(measure="key-agreement")[0]


def test_a_known_truth_is_followed_along_the_curve(two: Sweep) -> None:
    """Helper data of a uniform source tell nothing; of a biased one nearly six bits of twelve."""
    odds = []
    for point in two.points[:2]:
        assert point.audit is not None
        (row,) = point.audit.select(attack="helper-leak", measure="success-odds", budget=10)
        odds.append(row.value)
    assert odds[0] is not None
    assert odds[1] is not None
    assert odds[0] < 0.1 < odds[1]  # 10 / 4096 against .23 by enumeration of all 2^23 words


def test_the_best_points_are_those_that_no_other_dominates(two: Sweep) -> None:
    known = [p for p in two.points if None not in p.parts]
    assert len(known) == 4
    for point in two.points:
        beaten = any(dominates(q.parts, point.parts) for q in known)
        assert point.admissible == (point in known and not beaten)
    rates = {p.number: p.parts[0] for p in known if p.admissible}
    assert two.choice.point == max(rates, key=lambda n: (rates[n], -n))
    assert two.chosen is not None


def test_the_choice_is_confirmed_on_people_who_are_nobody_of_the_sweep(two: Sweep) -> None:
    confirmed = two.choice.confirmation
    assert confirmed is not None
    assert two.chosen is not None
    assert two.chosen.audit is not None
    assert confirmed.seed == fresh_seed(0) != 0
    assert str(confirmed.seed) in confirmed.people
    assert confirmed.audit.corpus["digest"] != two.chosen.audit.corpus["digest"]
    fresh = replace(CHANNEL, seed=fresh_seed(0), **_corpus_part(two))
    again = audit(
        SignCommitment(code=two.chosen.settings["scheme.code"]),
        corpus=fresh,
        attacks=ATTACKS,
        seed=fresh_seed(0),
    )
    assert list(confirmed.audit.rows) == list(again.rows)
    for quantity, difference in confirmed.differences.items():
        chosen, other = two.chosen.rows[quantity].value, confirmed.rows[quantity].value
        assert difference == (None if chosen is None or other is None else other - chosen)
    assert any("flatters" in note for note in two.notes)


def _corpus_part(found: Sweep) -> dict[str, Any]:
    assert found.chosen is not None
    return {k.partition(".")[2]: v for k, v in found.chosen.settings.items() if k.startswith("corpus.")}


def test_a_condition_is_no_setting_and_that_is_said(two: Sweep) -> None:
    assert any(note.startswith("ones is a condition") for note in two.notes)
    assert not any("condition" in note for note in swept(SHORT).notes)


def test_recorded_people_are_kept_back_from_every_point() -> None:
    found = swept(SHORT, corpus=replace(CHANNEL, data="recorded"))
    confirmed = found.choice.confirmation
    assert confirmed is not None
    chosen_on = {p.subject for q in found.points if q.audit is not None for p in q.audit.per_subject}
    others = {p.subject for p in confirmed.audit.per_subject}
    assert (len(chosen_on), len(others), chosen_on & others) == (4, 2, set())
    assert "4 of 6 recorded people" in found.people


def test_a_point_at_which_no_keys_agree_is_not_chosen_before_one_at_which_they_do() -> None:
    """Cells finer than the timing error: device B never agrees, and no guesser gets far either."""
    found = sweep(
        "interval-gray", vary="cell_s=0.0005,0.008", attacks="body-site", subjects=5, sessions=1, attempts=2
    )
    assert found.points[0].parts[:2] == (0.0, 0.0)
    assert [p.admissible for p in found.points] == [True, True]
    assert found.choice.point == 2


def test_a_point_at_which_no_key_is_established_does_not_hide_how_the_others_compare() -> None:
    """Windows of .3 s need a longer capture than there is: nothing is acquired at the last point."""
    found = sweep(
        "envelope-trend",
        vary="window_s=0.1,0.2,0.3",
        attacks="body-site",
        subjects=4,
        sessions=1,
        attempts=2,
    )
    assert [p.parts[2] is None for p in found.points] == [False, False, True]
    assert not found.points[2].admissible
    assert found.choice.point in (1, 2)


def test_two_recorded_people_cannot_confirm() -> None:
    tiny = replace(CHANNEL, subjects=2, data="recorded")
    found = swept(SHORT, corpus=tiny, attacks=["helper-leak"])
    assert found.choice.confirmation is None
    assert "fewer than three people" in str(found.choice.unconfirmed)


def test_a_corpus_without_other_people_cannot_confirm() -> None:
    @dataclass(frozen=True)
    class Alone(Channel):
        def digest(self) -> str:
            return replace(self, seed=0).describe().__repr__()

    found = swept(SHORT, corpus=Alone(subjects=4, errors=CHANNEL.errors))
    assert found.choice.point is not None
    assert found.choice.confirmation is None
    assert "the same people" in str(found.choice.unconfirmed)


def test_a_part_of_a_corpus_is_as_it_was() -> None:
    chosen, rest = split(CHANNEL, seed=4) or pytest.fail("six people can be split")
    assert [s for s in CHANNEL.sittings() if s.subject in rest.kept] == list(rest.sittings())
    sitting = rest.sittings()[0]
    own = rest.block(sitting, sitting.streams)
    for name, sensed in CHANNEL.block(sitting, sitting.streams).items():
        assert np.array_equal(own[name].capture.samples, sensed.capture.samples)
    digests = {CHANNEL.digest(), chosen.digest(), rest.digest()}
    assert len(digests) == 3
    assert Part(whole=CHANNEL, kept=rest.kept).digest() == rest.digest()
    assert split(replace(CHANNEL, subjects=2), seed=0) is None


def test_same_seed_same_bytes_whatever_the_workers() -> None:
    options: dict[str, Any] = {"attacks": "helper-leak", "corpus": replace(CHANNEL, subjects=4)}
    vary = SHORT
    first = swept(vary, **options).to_json()
    assert swept(vary, jobs=2, chunk=1, **options).to_json() == first
    assert swept(vary, seed=1, **options).to_json() != first
    content = json.loads(first)
    assert content["version"] == 1
    assert [p["number"] for p in content["points"]] == [1, 2]


def test_no_point_at_all_is_a_usage_error() -> None:
    with pytest.raises(UsageError, match=r"all were refused: .*known code"):
        swept({"code": ("none", "such")})


def test_two_schemes_are_refused() -> None:
    with pytest.raises(UsageError, match="one scheme, got 2"):
        sweep(["interval-gray", "envelope-trend"], vary="blocks=1,2")


def test_an_attack_that_fails_marks_its_points_and_the_others_stand() -> None:
    class Breaks:
        name = "breaks"
        sees = frozenset({"remote"})

        def believe(self, view: View, *, rng: np.random.Generator) -> Any:
            raise RuntimeError("on purpose")

    found = swept(SHORT, attacks=["helper-leak", Breaks()])
    assert found.failed
    assert [p.status for p in found.points] == ["failed", "failed"]
    assert found.points[0].strongest == "helper-leak"


def test_a_scheme_that_takes_no_name_has_audits_of_its_own() -> None:
    @dataclass(frozen=True)
    class Nameless:
        """Signs as they are; always the same name."""

        bits: int = 4
        signal = "value"
        name = "nameless"

        @property
        def key_bits(self) -> int:
            return self.bits

        def witness(self, capture: Any) -> Witness:
            signs = (capture.samples[:, 0, : self.bits] > 0).astype(np.uint8)
            return Witness(symbols=signs, alphabet=2, acquired=np.ones(len(signs), bool))

        def generate(self, witness: Witness, *, rng: np.random.Generator) -> tuple[Array, Helper]:
            return witness.symbols.copy(), {}

        def reproduce(self, witness: Witness, helper: Helper) -> tuple[Array, Array]:
            return witness.symbols.copy(), witness.acquired.copy()

    found = swept("bits=4,8", Nameless(), attacks=["population"])
    assert [p.status for p in found.points] == ["measured", "measured"]
    agreed = [p.rows["agreement"].value for p in found.points]
    assert agreed[0] is not None
    assert agreed[1] is not None
    assert agreed[0] > agreed[1]
    # without a disclosure nobody knows what is left, so there is no rate to choose by
    assert found.choice.point is None
    assert "not known together" in found.choice.reason


CLAIMS = """
version = 1

[[claim]]
id = "agrees"
measure = "key-agreement"
at_least = {least}
"""


@pytest.mark.parametrize(("least", "best"), [(0.01, [1, 2]), (0.99, [])])
def test_under_claims_the_best_points_are_those_at_which_all_hold(
    tmp_path: Path, least: float, best: list[int]
) -> None:
    path = tmp_path / "claims.toml"
    path.write_text(CLAIMS.format(least=least), "utf-8")
    found = swept(SHORT, claims=path)
    assert [p.number for p in found.points if p.admissible] == best
    assert all(p.claims for p in found.points)
    if best:
        assert found.choice.confirmation is not None
        assert found.choice.confirmation.holds is not None
    else:
        assert found.choice.point is None
        assert "claims do not all hold" in found.choice.reason


def test_claims_about_nobody_are_refused_before_anything_runs(tmp_path: Path) -> None:
    path = tmp_path / "claims.toml"
    path.write_text(CLAIMS.format(least=0.1) + 'scheme = "another"\n', "utf-8")
    with pytest.raises(UsageError, match="another"):
        swept(SHORT, claims=path, progress=_must_not_run)


def _must_not_run(what: str, done: int, total: int) -> None:
    pytest.fail(f"{what} ran")


def test_the_rows_of_a_point_are_rows(two: Sweep) -> None:
    assert all(isinstance(r, Row) for p in two.points for r in p.rows.values())
