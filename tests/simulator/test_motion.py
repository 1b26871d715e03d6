"""The shaft's motion: angle, speed and acceleration belong together; marks are where they should be."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from balancer.errors import InputError
from balancer.simulator.motion import Motion


def path_of(motion, end=10.0, seed=1, start_angle=-0.5):
    return motion.path(-1.0, end, start_angle, np.random.default_rng(seed))


def test_steady_speed_is_a_straight_line():
    path = path_of(Motion.steady(500.0))
    t = np.linspace(0, 9, 50)
    np.testing.assert_allclose(path.angle(t), 500.0 * t - 0.5, rtol=1e-13)
    np.testing.assert_allclose(path.speed(t), 500.0, rtol=1e-13)
    np.testing.assert_allclose(path.acceleration(t), 0.0, atol=1e-9)


MOTIONS = {
    "wander": Motion.steady(545.0, wander=0.005, correlation_time=0.3),
    "ramp": Motion.ramp(400.0, 600.0, start=2.0, end=6.0),
    "both": Motion(((0.0, 500.0), (3.0, 450.0), (8.0, 700.0)), wander=0.01, correlation_time=0.2),
}


@pytest.mark.parametrize("name", MOTIONS)
def test_the_angle_is_the_integral_of_the_speed(name):
    path = path_of(MOTIONS[name])
    turned = quad(path.speed, 1.0, 1.3, limit=200)[0]
    assert float(path.angle(1.3) - path.angle(1.0)) == pytest.approx(turned, rel=1e-8)
    gained = quad(
        path.acceleration,
        2.0,
        2.3,
        limit=200,
        points=path.speed.x[(path.speed.x > 2.0) & (path.speed.x < 2.3)],
    )[0]
    assert float(path.speed(2.3) - path.speed(2.0)) == pytest.approx(gained, abs=1e-7)
    assert float(path.angle(0.0)) == pytest.approx(-0.5, abs=1e-12)


@pytest.mark.parametrize("name", MOTIONS)
def test_passages_are_exact_and_complete(name):
    path = path_of(MOTIONS[name])
    passages = path.passages(0.7, 0.0, 9.0)
    turns = (path.angle(passages) - 0.7) / (2 * math.pi)
    late = (turns - np.round(turns)) * 2 * math.pi / path.speed(passages)
    assert np.max(np.abs(late)) < 1e-12  # far below a nanosecond
    np.testing.assert_array_equal(np.diff(np.round(turns)), 1)
    assert passages[0] - 2 * math.pi / 400 < 0.0 <= passages[0]
    assert passages[-1] <= 9.0 < passages[-1] + 2 * math.pi / 400


def test_wander_has_the_asked_size_and_correlation():
    """800 s are 4000 correlation times: the scatter of the estimates is a few per cent."""
    path = path_of(Motion.steady(500.0, wander=0.004, correlation_time=0.2), end=800.0)
    t = np.arange(0.0, 799.0, 0.02)
    stray = path.speed(t) / 500.0 - 1
    assert np.std(stray) == pytest.approx(0.004, rel=0.05)
    # Gaussian autocorrelation: exp(-1/2) at the correlation time, exp(-2) at twice that
    for steps, expected in ((10, math.exp(-0.5)), (20, math.exp(-2.0))):
        assert np.corrcoef(stray[:-steps], stray[steps:])[0, 1] == pytest.approx(expected, abs=0.06)


def test_a_ramp_holds_both_speeds_and_does_not_overshoot():
    path = path_of(MOTIONS["ramp"])
    t = np.linspace(-1.0, 10.0, 2000)
    speed = path.speed(t)
    np.testing.assert_allclose(speed[t < 1.9], 400.0, rtol=1e-4)
    np.testing.assert_allclose(speed[t > 6.1], 600.0, rtol=1e-4)
    assert np.min(speed) > 399.9
    assert np.max(speed) < 600.1
    assert float(path.speed(4.0)) == pytest.approx(500.0, rel=1e-3)
    assert path.top_speed == pytest.approx(600.0, rel=1e-3)


def test_the_same_generator_draws_the_same_run():
    a, b, other = (path_of(MOTIONS["wander"], seed=seed) for seed in (3, 3, 4))
    t = np.linspace(0, 9, 100)
    np.testing.assert_array_equal(a.angle(t), b.angle(t))
    assert np.max(np.abs(a.angle(t) - other.angle(t))) > 0.01


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Motion(()), "the profile must have a point"),
        (lambda: Motion(((1.0, 500.0), (1.0, 600.0))), "times must rise"),
        (lambda: Motion(((math.inf, 500.0),)), "times must be finite"),
        (lambda: Motion.steady(0.0), "speed must be above 0"),
        (lambda: Motion.steady(math.nan), "speed must be above 0"),
        (lambda: Motion.steady(500.0, wander=0.5), "wander must be a fraction"),
        (lambda: Motion.steady(500.0, 0.01, 0.0), "correlation_time must be above 0"),
        (lambda: Motion.ramp(400.0, 500.0, 3.0, 2.0), "times must rise"),
    ],
)
def test_impossible_motions_are_refused(make, words):
    with pytest.raises(InputError, match=words):
        make()


def test_a_wander_that_would_stop_the_shaft_is_refused():
    class Unlucky:
        def standard_normal(self, count):
            return np.full(count, -9.0)

    motion = Motion.steady(500.0, wander=0.1)
    with pytest.raises(InputError, match="the simulated shaft would stop; ask for less wander"):
        motion.path(0.0, 1.0, 0.0, Unlucky())
