"""Indexing: the check set, by 180 and by 120 degrees, and the closed forms as special cases.

Practice: Bloch and Geitner, Machinery Component Maintenance and Repair, p. 312 (found); formulas and numbers
are derived from it (computed). The set: kept part 1.2 at 40 degrees, turned part 0.8 at 170.
"""

import cmath
import math

import numpy as np
import pytest

from balancer.core.indexing import split_parts
from balancer.core.vectors import Covariance, UncertainComplex

BY_180 = [(0, 0.919700, 81.7854), (180, 1.820481, 20.3281)]
BY_120 = [(0, 0.919700, 81.7854), (120, 1.193030, 0.9409), (240, 1.992694, 43.9976)]
KEPT, TURNED = (1.2, 40.0), (0.8, 170.0)


def polar(amplitude, degrees):
    return cmath.rect(amplitude, math.radians(degrees))


def vector(value, noise=1e-4):
    return UncertainComplex(complex(value), Covariance.circular(noise**2))


def split(readings):
    """Take rows of index, amplitude, phase, all angles in degrees."""
    vectors = [vector(polar(amplitude, phase)) for _, amplitude, phase in readings]
    return split_parts(vectors, [math.radians(index) for index, *_ in readings])


@pytest.mark.parametrize("readings", [BY_180, BY_120], ids=["180", "120"])
def test_the_check_set(readings):
    found = split(readings)
    for part, (amplitude, degrees) in ((found.kept, KEPT), (found.turned, TURNED)):
        assert part.amplitude == pytest.approx(amplitude, abs=2e-6)
        assert math.degrees(part.lag) == pytest.approx(degrees, abs=1e-4)


@pytest.mark.parametrize("readings", [BY_180, BY_120], ids=["180", "120"])
def test_the_check_set_put_together_again(readings):
    found = split(readings)
    for index, amplitude, degrees in readings:
        assert found.together(math.radians(index)).value == pytest.approx(polar(amplitude, degrees), abs=2e-6)


def test_half_sum_and_half_difference_are_the_two_run_case():
    rng = np.random.default_rng(1)
    first, second = rng.normal(size=(2, 2)) @ (1, 1j)
    found = split_parts([vector(first), vector(second)], [0.0, math.pi])
    assert found.kept.value == pytest.approx((first + second) / 2)
    assert found.turned.value == pytest.approx((first - second) / 2)


@pytest.mark.parametrize("steps", [2, 3, 4, 5, 12])
def test_the_means_are_the_case_of_equal_steps(steps):
    rng = np.random.default_rng(steps)
    values = rng.normal(size=(steps, 2)) @ (1, 1j)
    angles = 2 * math.pi * np.arange(steps) / steps
    found = split_parts([vector(v) for v in values], angles)
    assert found.kept.value == pytest.approx(values.mean())
    assert found.turned.value == pytest.approx((values * np.exp(-1j * angles)).mean())


def test_the_opposite_sense_of_turning_is_another_answer():
    # the 120 degree set with the turning counted with the rotation: the turned part must come out otherwise
    wrong = split([(-index, amplitude, phase) for index, amplitude, phase in BY_120])
    assert abs(wrong.turned.value - polar(*TURNED)) > 0.5
    assert wrong.scatter.sd > 0.1  # and the misfit shows it
