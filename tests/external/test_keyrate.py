"""Secret-key rates and extractable lengths against published values and an independent implementation.

Satellite source, ``Z = X ⊕ Y``, public discussion over two binary symmetric channels: formulas of Maurer,
IEEE Trans. Inf. Theory 39 (1993) 733–742; their figures follow from these by arithmetic and are repeated
here with mpmath.
"""

from __future__ import annotations

import dit
import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.contracts import Array
from harness.estimators.extraction_length import extractable_bits, left_by_sketch
from harness.estimators.keyrate import key_rate, public_discussion_rate


def channel(error: float) -> Array:
    return np.array([[1 - error, error], [error, 1 - error]])


def satellite(a: float, b: float, e: float) -> Array:
    return np.einsum("ra,rb,re->abe", channel(a), channel(b), channel(e)) / 2


def h(p: mpmath.mpf) -> mpmath.mpf:
    return -(p * mpmath.log(p, 2) + (1 - p) * mpmath.log(1 - p, 2))


def cascade(p: mpmath.mpf, q: mpmath.mpf) -> mpmath.mpf:
    return p + q - 2 * p * q


def test_satellite_source() -> None:
    """Maurer (1993): a fair bit received with errors .1, .1 and .2."""
    found = key_rate(satellite(0.1, 0.1, 0.2))
    assert found.i_ab == pytest.approx(0.3199229543, abs=5e-11)
    assert found.lower == pytest.approx(0.1466693268, abs=5e-11)
    assert found.upper == pytest.approx(0.1896308170, abs=5e-11)


def test_satellite_source_with_mpmath() -> None:
    with mpmath.workdps(30):
        p, q = mpmath.mpf("0.1"), mpmath.mpf("0.2")
        i_ab, i_ae = 1 - h(cascade(p, p)), 1 - h(cascade(p, q))
    found = key_rate(satellite(0.1, 0.1, 0.2))
    assert found.i_ab == pytest.approx(float(i_ab), abs=1e-13)
    assert found.i_ae == found.i_be == pytest.approx(float(i_ae), abs=1e-13)
    assert found.lower == pytest.approx(float(i_ab - i_ae), abs=1e-13)


def test_the_exclusive_or_makes_independent_bits_common() -> None:
    """Maurer (1993): I(X;Y) is 0 and I(X;Y|Z) is 1, so that the upper bound is the lesser of the two."""
    joint = np.zeros((2, 2, 2))
    for x in range(2):
        for y in range(2):
            joint[x, y, x ^ y] = 0.25
    found = key_rate(joint)
    assert (found.i_ab, found.i_ab_given_e, found.upper, found.lower) == (0, 1, 0, 0)


def test_public_discussion_over_symmetric_channels() -> None:
    """Maurer (1993): h(ε + δ - 2εδ) - h(ε); also the lower bound of the source that it is for."""
    assert public_discussion_rate(0.1, 0.2) == pytest.approx(0.3577507789, abs=5e-11)
    source = np.einsum("ab,ae->abe", channel(0.1), channel(0.2)) / 2
    assert key_rate(source).lower == pytest.approx(0.3577507789, abs=5e-11)
    with mpmath.workdps(30):
        p, q = mpmath.mpf("0.3"), mpmath.mpf("0.05")
        expected = h(cascade(p, q)) - h(p)
    assert public_discussion_rate(0.3, 0.05) == pytest.approx(float(expected), abs=1e-13)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32), shape=st.tuples(*[st.integers(2, 4)] * 3), gaps=st.booleans())
def test_informations_against_dit(seed: int, shape: tuple[int, int, int], gaps: bool) -> None:
    rng = np.random.default_rng(seed)
    joint = rng.dirichlet(np.full(int(np.prod(shape)), 0.5)).reshape(shape)
    if gaps:  # symbols that never come
        joint[rng.integers(shape[0])] = 0
        joint /= joint.sum()
    outcomes = [index for index in np.ndindex(*shape) if joint[index] > 1e-15]
    theirs = dit.Distribution(
        ["".join(map(str, o)) for o in outcomes], [joint[o] / joint.sum() for o in outcomes]
    )
    found = key_rate(joint)
    assert found.i_ab == pytest.approx(dit.shannon.mutual_information(theirs, [0], [1]), abs=1e-9)
    assert found.i_ae == pytest.approx(dit.shannon.mutual_information(theirs, [0], [2]), abs=1e-9)
    assert found.i_be == pytest.approx(dit.shannon.mutual_information(theirs, [1], [2]), abs=1e-9)
    conditional = dit.multivariate.coinformation(theirs, [[0], [1]], [2])
    assert found.i_ab_given_e == pytest.approx(conditional, abs=1e-9)


def test_extractable_length_in_both_published_forms() -> None:
    """131 bits at ε 2^-32: 69 by Dodis et al., SIAM J. Comput. 38 (2008) 97–139, 67 by textbooks."""
    assert extractable_bits(131, epsilon=2.0**-32, form="leftover-hash-dodis-2008") == 69
    assert extractable_bits(131, epsilon=2.0**-32, form="leftover-hash-textbook") == 67


def test_a_sketch_costs_at_most_its_parities() -> None:
    """Dodis et al. (2008): both sketches leave m - (n - k). BCH (255, 131) publishes 124."""
    assert left_by_sketch(255, parities=124) == 131
    assert left_by_sketch(10, parities=11) == 0
