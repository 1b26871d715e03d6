"""Like with like: two stands that answer differently tell the same unbalance."""

import datetime as dt
import math

import numpy as np
import pytest

from balancer.core.residual import Entry, like_with_like, residual_at
from balancer.core.vector_change import compare, relative
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.units import gmm_from_kgm, rad_s_from_rpm

NOISE = Covariance.circular(0.01**2)
SOFT = UncertainComplex(2e6 * np.exp(0.4j), Covariance.circular(0.04e6**2))
STIFF = UncertainComplex(0.3e6 * np.exp(-1.1j), Covariance.circular(0.02e6**2))
TRUE = 0.8e-6 * np.exp(2.1j)
EXACT = Covariance(0.0, 0.0)


def reading(influence, unbalance=TRUE, noise=NOISE):
    return UncertainComplex(influence.value * unbalance, noise)


@pytest.mark.parametrize("stand", [SOFT, STIFF])
def test_any_stand_tells_the_same_unbalance(stand):
    found = residual_at([reading(stand)], [stand])
    assert found.unbalance.value == pytest.approx(TRUE)
    # first order by hand: noise over H, and the relative error of H times U
    by_hand = NOISE.re / abs(stand.value) ** 2 + relative(stand).re * abs(TRUE) ** 2
    assert found.unbalance.covariance.re == pytest.approx(by_hand, rel=1e-6)
    assert found.shared.re == pytest.approx(relative(stand).re, rel=1e-6)


def test_the_grade_is_that_of_the_standard():
    # ISO 21940-11: 12 g at 5000 rpm and G6.3 allow 0.1444 g mm
    stand = UncertainComplex(1e6, EXACT)
    found = residual_at([reading(stand, 0.14439e-6)], [stand])
    assert found.grade(0.012, rad_s_from_rpm(5000)) == pytest.approx(6.3e-3, rel=1e-3)


def test_several_channels_share_one_unbalance_and_what_is_shared_between_runs():
    """Simulated: the scatter of the coefficient over many stands is what `shared` says."""
    rng = np.random.default_rng(1)
    errors = []
    for _ in range(250):
        true = [
            UncertainComplex(h.value - complex(*rng.normal(0, math.sqrt(h.covariance.re), 2)), EXACT)
            for h in (SOFT, STIFF)
        ]
        found = residual_at([reading(h) for h in true], [SOFT, STIFF])
        errors.append(found.unbalance.value / TRUE - 1)
    assert np.mean(np.abs(errors) ** 2) / 2 == pytest.approx(found.shared.re, rel=0.2)


def test_compared_with_its_shared_error_a_changed_part_is_seen_and_an_unchanged_one_not():
    wrong = UncertainComplex(SOFT.value * 1.04, SOFT.covariance)  # the coefficient is 2 sd off, for both
    before, same, grown = (residual_at([reading(SOFT, u)], [wrong]) for u in (TRUE, TRUE, 1.03 * TRUE))
    assert compare([before.unbalance], same.unbalance, shared=before.shared).state == "no_sign"
    seen = compare([before.unbalance], grown.unbalance, shared=before.shared)
    assert seen.difference[0].amplitude == pytest.approx(0.03 * abs(TRUE) / 1.04)
    assert compare([before.unbalance], grown.unbalance).probability > 10 * seen.probability


def test_a_channel_that_no_unbalance_explains_is_told():
    readings = [reading(SOFT), reading(STIFF, TRUE * 1j)]
    codes = [finding.code for finding in residual_at(readings, [SOFT, STIFF]).findings]
    assert "channel_left_over" in codes


def test_other_channels_than_the_coefficients_are_refused():
    with pytest.raises(InputError, match="is of 1 channels"):
        residual_at([reading(SOFT), reading(STIFF)], [SOFT])


def entry(day, size, stand="bench", frame="", sd=0.02e-6):
    vector = None if size is None else UncertainComplex(size * 1e-6, Covariance.circular(sd**2))
    return Entry(dt.date(2026, 3, day), stand, vector, frame)


def test_a_series_for_the_chart():
    entries = [
        entry(9, 0.2),
        entry(2, 1.0 + 0j),
        entry(5, None, "old stand"),
        entry(20, 0.03j, "second stand"),
    ]
    found = like_with_like(entries, 0.012, rad_s_from_rpm(5000))
    assert [point.when.day for point in found.points] == [2, 9, 20]
    first, _, last = found.points
    assert gmm_from_kgm(first.value) == pytest.approx(1.0)
    assert gmm_from_kgm(first.lower) == pytest.approx(1.0 - 1.96 * 0.02, abs=1e-3)
    assert gmm_from_kgm(first.upper) == pytest.approx(1.0 + 1.96 * 0.02, abs=1e-3)
    assert last.lower == 0.0  # cannot be told from none
    assert last.upper > last.value
    # ISO 21940-11 at 12 g and 5000 rpm: 0.1444 g mm at G6.3
    assert [(round(1e3 * g, 1), round(gmm_from_kgm(u), 4)) for g, u in found.lines][1] == (6.3, 0.1444)
    assert [left.stand for left in found.left_out] == ["old stand"]
    assert [finding.code for finding in found.findings] == ["raw_left_out", "several_stands"]
    assert first.grade == pytest.approx(6.3e-3 * 1.0 / 0.1444, rel=1e-3)


def test_directions_compare_only_where_the_mark_is_the_same():
    entries = [entry(1, 1.0, frame="blade 1"), entry(2, 1.0j, frame="bell"), entry(3, 0.9, frame="blade 1")]
    found = like_with_like(entries, 0.012, 500.0)
    assert [[one.when.day for one in group] for group in found.vectors] == [[1, 3], [2]]
    assert [finding.code for finding in found.findings] == ["several_marks"]


def test_an_empty_history_is_an_empty_series():
    found = like_with_like([], 0.012, 500.0)
    assert (found.points, found.vectors, found.findings) == ((), (), ())
