"""The unbalance that one run shows: two stands that answer differently tell the same."""

import numpy as np
import pytest

from balancer.core.grade import grade_of
from balancer.core.runs import Amplitude, Run
from balancer.core.single_run import unbalance_seen
from balancer.core.vector_change import compare, relative
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.units import rad_s_from_rpm

NOISE = Covariance.circular(0.01**2)
SOFT = UncertainComplex(2e6 * np.exp(0.4j), Covariance.circular(0.04e6**2))
STIFF = UncertainComplex(0.3e6 * np.exp(-1.1j), Covariance.circular(0.02e6**2))
TRUE = 0.8e-6 * np.exp(2.1j)
EXACT = Covariance(0.0, 0.0)


def reading(influence, unbalance=TRUE, noise=NOISE):
    return UncertainComplex(influence.value * unbalance, noise)


def seen(readings, influence):
    return unbalance_seen(Run(tuple(readings)), influence)


@pytest.mark.parametrize("stand", [SOFT, STIFF])
def test_any_stand_tells_the_same_unbalance(stand):
    found = seen([reading(stand)], [stand])
    assert found.value == pytest.approx(TRUE)
    # first order by hand: noise over H, and the relative error of H times U
    by_hand = NOISE.re / abs(stand.value) ** 2 + relative(stand).re * abs(TRUE) ** 2
    assert found.covariance.re == pytest.approx(by_hand, rel=1e-6)


def test_the_grade_is_that_of_the_standard():
    # ISO 21940-11: 12 g at 5000 rpm and G6.3 allow 0.1444 g mm
    stand = UncertainComplex(1e6, EXACT)
    found = seen([reading(stand, 0.14439e-6)], [stand])
    assert grade_of(found.amplitude, 0.012, rad_s_from_rpm(5000)) == pytest.approx(6.3e-3, rel=1e-3)


def test_channels_that_err_alike_are_no_surer_than_one():
    one, two = seen([reading(SOFT)], [SOFT]), seen([reading(SOFT)] * 2, [SOFT] * 2)
    assert two.value == pytest.approx(one.value)
    assert two.covariance.re == pytest.approx(one.covariance.re, rel=1e-6)


def test_the_stated_uncertainty_is_not_too_small():
    # readings off by noise, and all coefficients too large or too small by the same share
    rng = np.random.default_rng(1)
    scores = []
    for _ in range(400):
        share = 1 + 0.03 * complex(*rng.standard_normal(2))
        known = [
            UncertainComplex(h.value, Covariance.circular((0.03 * h.amplitude) ** 2)) for h in (SOFT, STIFF)
        ]
        readings = [
            UncertainComplex(h.value * share * TRUE + 0.01 * complex(*rng.standard_normal(2)), NOISE)
            for h in (SOFT, STIFF)
        ]
        found = seen(readings, known)
        scores.append(abs(found.value - TRUE) ** 2 / (2 * found.covariance.re))
    assert 0.8 <= np.mean(scores) <= 1.1


def test_without_phase_the_size_is_told():
    readings = [Amplitude(abs(h.value * TRUE), 0.01) for h in (SOFT, STIFF)]
    found = seen(readings, [SOFT, STIFF])
    assert found.value == pytest.approx(abs(TRUE))


def test_compared_with_its_shared_error_a_changed_part_is_seen_and_an_unchanged_one_not():
    wrong = UncertainComplex(SOFT.value * 1.04, SOFT.covariance)  # the coefficient is 2 sd off, for both
    before, same, grown = (seen([reading(SOFT, u)], [wrong]) for u in (TRUE, TRUE, 1.03 * TRUE))
    assert compare([before], same, shared=relative(wrong)).state == "no_sign"
    change = compare([before], grown, shared=relative(wrong))
    assert change.difference[0].amplitude == pytest.approx(0.03 * abs(TRUE) / 1.04)
    assert compare([before], grown).probability > 10 * change.probability


def test_what_cannot_be_divided_is_refused():
    with pytest.raises(InputError, match="1 influence coefficients do not fit 2 channels"):
        seen([reading(SOFT), reading(STIFF)], [SOFT])
    with pytest.raises(InputError, match="an influence coefficient of 0 tells no unbalance"):
        seen([reading(SOFT)], [UncertainComplex(0j, EXACT)])
