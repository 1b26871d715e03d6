"""Whether a run contradicts a stored coefficient: what one unbalance explains in all channels, what none."""

from __future__ import annotations

import numpy as np
import pytest

from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.procedure.contradiction import contradicts

SPEED = 544.5
# an ellipse of the stand: x and y a quarter turn apart, as two springs of unlike stiffness give it
H = np.array([1.0e6 + 0.1e6j, -0.2e6 + 0.9e6j])
U = 1.3e-6 * np.exp(2.0j)  # kg m


def uncertain(values, share=0.02):
    return tuple(UncertainComplex(complex(v), Covariance.circular((share * abs(v)) ** 2)) for v in values)


def run(values, sd=0.01):
    readings = tuple(UncertainComplex(complex(v), Covariance.circular(sd**2)) for v in values)
    return Run(readings, (), "as-is", SPEED)


@pytest.mark.parametrize("turn", [0.0, 0.7, 3.0])
def test_an_unbalance_anywhere_explains_a_run(turn):
    # identity: what the coefficients themselves give is no contradiction, however the mark was turned
    assert not contradicts(run(H * U * np.exp(1j * turn)), uncertain(H))
    assert not contradicts(run(1.3 * H * U), uncertain(H))


def test_the_other_hand_contradicts():
    # turning the other way conjugates every vector (the ellipse is run through backwards)
    assert contradicts(run(np.conj(H) * U), uncertain(H))


def test_axes_that_were_swapped_contradict():
    assert contradicts(run(H[::-1] * U), uncertain(H))


def test_a_sensor_turned_about_the_shaft_looks_like_another_angle_and_cannot_be_seen():
    # on a stand as stiff in all directions turning the sensor turns all vectors alike: one run cannot tell
    round_ = np.array([1e6, 1e6j])
    assert not contradicts(run(np.array([round_[1], -round_[0]]) * U), uncertain(round_))


def test_within_the_noise_nothing_is_said():
    rng = np.random.default_rng(1)
    for _ in range(50):
        noise = 0.01 * (rng.standard_normal(2) + 1j * rng.standard_normal(2))
        assert not contradicts(run(noise, sd=0.01), uncertain(H))


def test_what_cannot_be_told():
    assert not contradicts(run((H * U)[:1]), uncertain(H[:1]))
    assert not contradicts(Run((Amplitude(1.0, 0.1),) * 2, (), "as-is", SPEED), uncertain(H))
    assert not contradicts(run(np.conj(H) * U), uncertain([*H, 1e6]))
