"""The test of the least achievable residual unbalance: published numbers, and what the spread speaks of."""

import math

import numpy as np
import pytest
from scipy import constants

from balancer.core.least_residual import claimed_residual, least_residual_test
from balancer.errors import InputError

GRAM_INCH = 1e-3 * constants.inch


def readings(residual, angle=0.0, gain=1.0):
    """What a residual (in multiples of the least one) does under ten times the least one, turned round."""
    places = np.exp(2j * np.pi * np.arange(12) / 12)
    return list(gain * np.abs(10 * places + residual * np.exp(1j * angle)))


def test_published_example():
    # Bloch and Geitner, Machinery Component Maintenance and Repair, pp. 296-298: 50,000 g, e = 20e-6 in,
    # U_mar 0.5 g in, test mass 1.25 g at 4 in. Mass times e is 1 g in, so that must be one of two planes.
    least, trial = claimed_residual(50.0, 20e-6 * constants.inch, planes=2)
    assert least / GRAM_INCH == pytest.approx(0.5)
    assert trial / GRAM_INCH == pytest.approx(1.25 * 4)


@pytest.mark.parametrize(("reading", "passed"), [(11.2, True), (8.8, True), (11.4, False), (8.6, False)])
def test_published_bounds(reading, passed):
    # same pages: every reading within 12 % of their mean, 8.8 to 11.2 U_mar; the others keep the mean at 10
    found = least_residual_test([reading, 20 - reading, *[10.0] * 10])
    assert found.mean == pytest.approx(10)
    assert found.passed is passed
    assert found.worst == pytest.approx(abs(reading - 10) / 10)


@pytest.mark.parametrize("angle", [0.0, 0.4, 2.0])
def test_a_residual_as_claimed_passes_and_twice_it_fails(angle):
    assert least_residual_test(readings(1.0, angle)).passed
    assert not least_residual_test(readings(2.0, angle)).passed


@pytest.mark.parametrize("residual", [0.2, 1.0, 2.5])
def test_the_spread_tells_the_residual(residual):
    found = least_residual_test(readings(residual, 1.1, gain=0.37))
    # the mean of the readings is (residual / test mass)^2 / 4 above the test mass, 1.6 % for the largest here
    assert 10 * found.implied == pytest.approx(residual, rel=0.03)


def test_no_residual_at_all():
    found = least_residual_test(readings(0.0))
    assert found.passed
    assert found.worst < 1e-12


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([10.0] * 11, "takes 12 readings, not 11"),
        ([10.0] * 11 + [0.0], "above 0"),
        ([10.0] * 11 + [math.nan], "above 0"),
    ],
)
def test_readings_that_cannot_be_judged(values, words):
    with pytest.raises(InputError, match=words):
        least_residual_test(values)


@pytest.mark.parametrize(
    ("facts", "words"),
    [((0.0, 1e-6), "rotor mass"), ((0.01, -1.0), "eccentricity"), ((0.01, 1e-6, 0), "planes")],
)
def test_claims_that_cannot_be(facts, words):
    with pytest.raises(InputError, match=f"the {words} must be above 0"):
        claimed_residual(*facts)
