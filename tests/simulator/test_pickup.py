"""The pick-up: where the marks come, and how often they fail."""

import math
from dataclasses import replace

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.simulator.motion import Motion
from balancer.simulator.pickup import Pickup

W = 500.0
TURN = 2 * math.pi / W


@pytest.fixture
def rng():
    return np.random.default_rng(77)


def seen(pickup, rng, duration=10.0):
    start_angle = pickup.start_angle(rng)
    path = Motion.steady(W).path(-0.1, duration + 0.1, start_angle, rng)
    return pickup.see(path, duration, rng), start_angle


def test_clean_marks_come_once_a_turn(rng):
    marks, start_angle = seen(Pickup(), rng)
    np.testing.assert_allclose(np.diff(marks), TURN, rtol=1e-9)
    assert marks[0] == pytest.approx(-start_angle / W, abs=1e-12)


def test_jitter_by_its_standard_deviation(rng):
    marks, start_angle = seen(Pickup(jitter=20e-6), rng, duration=100.0)
    error = marks - (np.arange(marks.size) * TURN - start_angle / W)
    assert np.std(error) == pytest.approx(20e-6, rel=0.05)
    assert abs(np.mean(error)) < 2e-6


def test_missed_marks_in_the_asked_share(rng):
    marks, _ = seen(Pickup(miss_probability=0.05), rng, duration=100.0)
    turns = round((marks[-1] - marks[0]) / TURN) + 1
    assert 1 - marks.size / turns == pytest.approx(0.05, abs=4 * math.sqrt(0.05 / turns))


def test_double_marks_come_soon_after_the_first_edge(rng):
    marks, start_angle = seen(Pickup(double_probability=0.05), rng, duration=100.0)
    since = np.mod(marks + start_angle / W + 1e-9, TURN) / TURN
    extra = since > 1e-6
    turns = np.count_nonzero(~extra)
    assert np.mean(extra) == pytest.approx(0.05, abs=4 * math.sqrt(0.05 / turns))
    assert np.min(since[extra]) > 0.019
    assert np.max(since[extra]) < 0.301
    assert np.all(np.diff(marks) > 0)


@pytest.mark.parametrize("places", [(0.0, 1.0, 3.0), (0.0, math.pi / 2, math.pi, 3 * math.pi / 2)])
@pytest.mark.parametrize("edge", ["rising", "falling"])
def test_several_marks_start_with_the_one_at_angle_zero(places, edge, rng):
    """Forty starts: the first mark seen is at 0 each time, though every mark may be missed."""
    pickup = Pickup(places, edge=edge, width=0.6, miss_probability=0.1)
    for _ in range(40):
        marks, start_angle = seen(pickup, rng, duration=0.5)
        late = 0.6 if edge == "falling" else 0.0
        turns = (W * marks + start_angle - late) / (2 * math.pi)
        assert turns[0] == pytest.approx(0.0, abs=1e-9)
        nearest = [min(abs(t % 1 - p / (2 * math.pi)) for p in (*places, 2 * math.pi)) for t in turns]
        assert np.max(nearest) < 1e-9


def test_even_marks():
    assert Pickup.even(4).places == pytest.approx((0, math.pi / 2, math.pi, 3 * math.pi / 2))


def test_a_very_short_run_may_hold_no_mark(rng):
    path = Motion.steady(W).path(-0.1, 0.2, -3.0, rng)
    assert Pickup(miss_probability=0.2).see(path, 0.001, rng).size == 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"places": ()}, "the first mark must be at the angle 0"),
        ({"places": (0.0, 2.0, 1.0)}, "places must rise"),
        ({"places": (0.0, 7.0)}, "below a full turn"),
        ({"edge": "both"}, "edge must be rising or falling"),
        ({"width": 4.0}, "width must be from 0 to half a turn"),
        ({"jitter": -1.0}, "jitter must not be negative"),
        ({"miss_probability": 0.6}, "miss_probability must be from 0 to 0.5"),
        ({"double_probability": math.nan}, "double_probability must be from 0 to 0.5"),
    ],
)
def test_impossible_pickups_are_refused(change, words):
    pickup = Pickup()
    with pytest.raises(InputError, match=words):
        replace(pickup, **change)
