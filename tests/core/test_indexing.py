"""Telling two parts apart by turning one on the other: uncertainty, scatter of the mountings, channels."""

import cmath
import math

import numpy as np
import pytest
from scipy.stats import f as f_distribution

from balancer.core.indexing import split_parts, unbalances_of_readings
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError

KEPT, TURNED = cmath.rect(0.5e-6, 0.3), cmath.rect(2.0e-6, 1.3)  # kg m: a bell and a propeller
NOISE = 0.005e-6


def vector(value, noise=NOISE):
    return UncertainComplex(complex(value), Covariance.circular(noise**2))


def mountings(degrees, rng=None, scatter=0.0, noise=NOISE, parts=(KEPT, TURNED)):
    """Vectors of runs with the propeller turned, each seated anew."""
    kept, turned = parts
    angles = np.radians(degrees)
    values = kept + turned * np.exp(1j * angles)
    if rng is not None:
        values = values + math.hypot(scatter, noise) * (rng.normal(size=(len(degrees), 2)) @ (1, 1j))
    return [vector(v, noise) for v in values], angles


@pytest.mark.parametrize("degrees", [(0, 180), (0, 120, 240), (0, 90, 200, 90), (30, 75), (-180, 0, 0)])
def test_any_known_angles_with_repeats(degrees):
    found = split_parts(*mountings(degrees))
    assert found.kept.value == pytest.approx(KEPT)
    assert found.turned.value == pytest.approx(TURNED)


def test_two_runs_tell_no_scatter():
    found = split_parts(*mountings((0, 180)))
    assert found.scatter is None
    assert found.coverage == pytest.approx(math.sqrt(-2 * math.log(0.05)))  # Rayleigh distribution
    # half the sum of two readings is known root 2 better than one
    assert found.kept.covariance.radius == pytest.approx(NOISE / math.sqrt(2), rel=1e-6)
    assert found.turned.covariance.radius == pytest.approx(NOISE / math.sqrt(2), rel=1e-6)


def test_turning_a_little_tells_little():
    far, near = (split_parts(*mountings((0, turn))).turned.covariance.radius for turn in (180, 30))
    assert near > 3 * far


def test_readings_that_are_less_sure_count_less():
    (first, second, third), angles = mountings((0, 180, 180))
    odd = vector(third.value + 1e-6, 1e-6)
    found = split_parts([first, second, odd], angles)
    assert abs(found.kept.value - KEPT) < 0.01e-6


@pytest.mark.parametrize("degrees", [(0, 120, 240), (0, 180, 0, 180), (0, 90, 180, 270, 45, 300)])
def test_scatter_of_the_mountings_is_found(degrees):
    rng = np.random.default_rng(2)
    true = 0.1e-6
    found = [split_parts(*mountings(degrees, rng, true)).scatter for _ in range(60)]
    assert np.sqrt(np.mean([s.sd**2 for s in found])) == pytest.approx(true, rel=0.2)
    assert np.mean([s.low <= true <= s.high for s in found]) >= 0.90
    assert {s.freedom for s in found} == {2 * len(degrees) - 4}


@pytest.mark.parametrize(
    ("degrees", "scatter"),
    [((0, 120, 240), 0.1e-6), ((0, 180, 0, 180), 0.1e-6), ((0, 180, 0, 180), 0.005e-6), ((0, 120, 240), 0.0)],
)
def test_the_stated_95_percent_hold(degrees, scatter):
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(60):
        found = split_parts(*mountings(degrees, rng, scatter))
        for part, truth in ((found.kept, KEPT), (found.turned, TURNED)):
            inside.append(abs(part.value - truth) <= found.coverage * part.covariance.radius)
    assert np.mean(inside) >= 0.90  # 120 of them: 0.95 less 2.5 standard deviations


def test_where_scatter_rules_the_coverage_is_that_of_the_f_distribution():
    # radius^2 = 2 F(0.95; 2, freedom): the two-dimensional form of the t factor of GUM G.3
    rng = np.random.default_rng(4)
    found = split_parts(*mountings((0, 180, 0, 180, 90), rng, 0.2e-6, noise=1e-12))
    assert found.coverage == pytest.approx(math.sqrt(2 * f_distribution.ppf(0.95, 2, 6)), rel=1e-3)


def test_the_parts_together_at_any_index():
    found = split_parts(*mountings((0, 120, 240)))
    for angle in (0.0, 0.7, 3.0):
        both = found.together(angle)
        assert both.value == pytest.approx(KEPT + TURNED * cmath.exp(1j * angle))
    assert found.together(found.best_angle).amplitude == pytest.approx(abs(TURNED) - abs(KEPT))


def test_the_uncertainty_together_is_that_of_the_reading_where_one_was_made():
    # kept and turned are correlated; at a measured index of two runs their sum is that reading again
    found = split_parts(*mountings((0, 180)))
    assert found.together(0.0).covariance.radius == pytest.approx(NOISE, rel=1e-6)


def test_doubt_in_the_coefficient_widens_both_parts_in_proportion():
    doubt = Covariance.circular(0.05**2)
    found = split_parts(*mountings((0, 180)), doubt)
    assert found.kept.covariance.radius == pytest.approx(
        math.hypot(NOISE / math.sqrt(2), 0.05 * abs(KEPT)), rel=1e-6
    )
    assert found.together(0.0).covariance.radius == pytest.approx(
        math.hypot(NOISE, 0.05 * abs(KEPT + TURNED)), rel=1e-6
    )


def test_vibration_in_any_unit_scales():
    vectors, angles = mountings((0, 120, 240), np.random.default_rng(5), 0.1e-6)
    small = split_parts(vectors, angles)
    large = split_parts([v.times(2e6j) for v in vectors], angles)
    assert large.kept.value == pytest.approx(2e6j * small.kept.value)
    assert large.scatter.sd == pytest.approx(2e6 * small.scatter.sd)
    assert large.coverage == pytest.approx(small.coverage)


def test_exact_readings():
    found = split_parts(*mountings((0, 120, 240), noise=0.0))
    assert found.turned.value == pytest.approx(TURNED)
    assert found.scatter.high < 1e-4 * abs(TURNED)


@pytest.mark.parametrize(
    ("degrees", "words"), [((0,), "one run"), ((10, 12, 8), "same angle"), ((0, 360), "same angle")]
)
def test_runs_that_tell_nothing(degrees, words):
    vectors, angles = mountings(degrees)
    with pytest.raises(InputError, match=words):
        split_parts(vectors, angles)


def test_an_angle_for_every_run():
    with pytest.raises(InputError, match="every run needs the angle"):
        split_parts(mountings((0, 180))[0], [0.0])


# channels

H = (1.3e6 * cmath.exp(2.0j), 0.4e6 * cmath.exp(-1.0j))


def coefficients(doubt=0.0):
    return [UncertainComplex(h, Covariance.circular((doubt * abs(h)) ** 2)) for h in H]


def test_channels_are_weighted_by_their_noise():
    runs = [[vector(H[0] * u, 0.01), vector(H[1] * u + 1.0, 10.0)] for u in (KEPT, TURNED)]
    found, doubt = unbalances_of_readings(runs, coefficients())
    assert [u.value for u in found] == pytest.approx([KEPT, TURNED], rel=1e-4, abs=1e-9)
    assert found[0].covariance.radius == pytest.approx(0.01 / abs(H[0]), rel=1e-3)
    assert doubt.radius == 0


def test_two_channels_are_surer_than_one():
    runs = [[vector(h * KEPT, 0.01) for h in (H[0], H[0])]]
    pair = [coefficients()[0]] * 2
    both, _ = unbalances_of_readings(runs, pair)
    one, _ = unbalances_of_readings([runs[0][:1]], pair[:1])
    assert both[0].covariance.radius == pytest.approx(one[0].covariance.radius / math.sqrt(2), rel=1e-5)


def test_doubt_of_the_coefficients_against_simulation():
    rng = np.random.default_rng(6)
    runs = [[vector(h * TURNED, 0.01) for h in H]]
    _, stated = unbalances_of_readings(runs, coefficients(0.03))
    errors = []
    for _ in range(800):
        off = [
            UncertainComplex(h.value + h.covariance.radius * complex(*rng.normal(size=2)), h.covariance)
            for h in coefficients(0.03)
        ]
        errors.append(unbalances_of_readings(runs, off)[0][0].value / TURNED - 1)
    rms = math.sqrt(np.mean(np.abs(errors) ** 2) / 2)
    assert stated.radius == pytest.approx(rms, rel=0.08)


@pytest.mark.parametrize(
    ("influence", "words"),
    [([coefficients()[0]], "for 1 channels"), ([vector(0.0), vector(0.0)], "coefficient of 0")],
)
def test_coefficients_that_do_not_serve(influence, words):
    with pytest.raises(InputError, match=words):
        unbalances_of_readings([[vector(1.0), vector(2.0)]], influence)
