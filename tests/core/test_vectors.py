"""The value objects: covariances under turning, amplitude and angle against simulation, integration."""

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.core.vectors import Covariance, OrderVector, UncertainComplex
from balancer.errors import InputError

PARTS = st.floats(-1e3, 1e3, allow_nan=False, allow_subnormal=False)
COMPLEXES = st.builds(complex, PARTS, PARTS)


def covariances():
    """Every covariance is L L^T; with one column it is a line, the hardest case for rounding."""
    full = st.builds(lambda a, b, c: np.array([[a, 0.0], [b, c]]), PARTS, PARTS, PARTS)
    line = st.builds(lambda a, b: np.array([[a], [b]]), PARTS, PARTS)
    return st.one_of(full, line).map(lambda root: Covariance.of_matrix(root @ root.T))


@given(covariances(), COMPLEXES)
def test_turning_keeps_a_covariance_a_covariance(covariance, factor):
    turned = covariance.times(factor)
    # turning keeps the trace, stretching multiplies it by the square
    assert turned.re + turned.im == pytest.approx(
        abs(factor) ** 2 * (covariance.re + covariance.im), rel=1e-9, abs=1e-300
    )


@given(covariances(), covariances())
def test_sums_add_the_variance_in_every_direction(first, second):
    for angle in (0.0, 0.7, 2.0):
        together = first.plus(second).along(angle) ** 2
        scale = first.re + first.im + second.re + second.im
        assert together == pytest.approx(
            first.along(angle) ** 2 + second.along(angle) ** 2, rel=1e-9, abs=1e-12 * scale + 1e-300
        )


@given(covariances())
def test_axes_are_the_extremes(covariance):
    major, minor, direction = covariance.axes()
    around = [covariance.along(angle) for angle in np.linspace(0, math.pi, 37)]
    slack = 1e-6 * major
    assert max(around) <= major + slack
    assert min(around) >= minor - slack
    assert covariance.along(direction) == pytest.approx(major, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(
    ("re", "im", "cross"),
    [(-1.0, 1.0, 0.0), (1.0, -1.0, 0.0), (1.0, 1.0, 1.1), (math.nan, 1.0, 0.0), (1.0, math.inf, 0.0)],
)
def test_what_is_no_covariance_is_refused(re, im, cross):
    with pytest.raises(InputError, match="is not a covariance"):
        Covariance(re, im, cross)


@pytest.mark.parametrize("angle", [0.3, 2.0, -1.2])
def test_stated_sd_of_amplitude_and_angle_against_simulation(angle):
    rng = np.random.default_rng(4)
    root = np.array([[0.03, 0.0], [0.02, 0.01]])
    value = cmath.rect(2.0, angle)
    stated = UncertainComplex(value, Covariance.of_matrix(root @ root.T))
    errors = root @ rng.normal(size=(2, 20_000))
    drawn = value + errors[0] + 1j * errors[1]
    # 20 000 draws give a standard deviation to 0.5 %; three times that, and the second order below 0.1 %
    assert stated.sd_amplitude == pytest.approx(np.std(np.abs(drawn)), rel=0.016)
    assert stated.sd_lag == pytest.approx(np.std(np.angle(drawn / value)), rel=0.016)


def test_angle_of_nothing_is_unknown():
    # a uniform angle has the standard deviation pi/sqrt(3)
    nothing = UncertainComplex(0j, Covariance.circular(1.0))
    assert nothing.sd_lag == pytest.approx(np.std(np.linspace(-np.pi, np.pi, 100_001)), rel=1e-4)
    assert UncertainComplex(1e-3 + 0j, Covariance.circular(1.0)).sd_lag == nothing.sd_lag


def acceleration(value, order=1, speed=500.0, unit="m/s^2"):
    return OrderVector(
        value,
        Covariance(4e-4, 1e-4, 1e-4),
        channel="x",
        unit=unit,
        order=order,
        speed=speed,
        revolutions=100.0,
    )


@pytest.mark.parametrize("order", [1, 2, 3])
@pytest.mark.parametrize("lag", [0.0, 1.0, -2.5])
def test_velocity_and_displacement_against_derivatives(order, lag):
    """x = X cos(k w t - lag) has the velocity -k w X sin(..) and the acceleration -(k w)^2 x."""
    size, speed = 3e-5, 500.0
    rate = order * speed
    vector = acceleration(-(rate**2) * cmath.rect(size, lag), order, speed)
    moved = vector.as_displacement()
    assert moved.value == pytest.approx(cmath.rect(size, lag), rel=1e-12)
    assert moved.unit == "m"
    velocity = vector.as_velocity()
    assert velocity.unit == "m/s"
    when = np.linspace(0, 0.05, 11)
    wanted = -rate * size * np.sin(rate * when - lag)
    shown = velocity.amplitude * np.cos(rate * when - velocity.lag)
    assert shown == pytest.approx(wanted, abs=1e-12)
    # relative uncertainty is that of the acceleration
    assert moved.sd_amplitude / moved.amplitude == pytest.approx(vector.sd_amplitude / vector.amplitude)
    assert moved.sd_lag == pytest.approx(vector.sd_lag)


@pytest.mark.parametrize("method", ["as_velocity", "as_displacement"])
def test_only_acceleration_is_integrated(method):
    with pytest.raises(InputError, match="is in mil, not in m/s"):
        getattr(acceleration(1 + 0j, unit="mil"), method)()
