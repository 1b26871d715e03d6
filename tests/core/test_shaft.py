"""The shaft angle between the marks, against the truth of a closed-form shaft."""

import numpy as np
import pytest

from balancer.core.marks import mend_marks
from balancer.core.shaft import shaft_turns
from balancer.errors import InputError
from tests.synthetic import WanderingShaft, damaged_marks

RATE = 1600.0


@pytest.fixture
def rng():
    return np.random.default_rng(40)


def sample_times(duration=10.0, rate=RATE):
    return np.arange(round(duration * rate)) / rate


def error_of(stretch, shaft, times):
    """Angle error in revolutions, the whole number of turns taken off."""
    miss = stretch.turns - shaft.turns(times[stretch.start : stretch.stop])
    return miss - np.rint(miss.mean())


@pytest.mark.parametrize("rpm", [3500, 5200, 8500])
@pytest.mark.parametrize("wander", [0.0, 0.005, 0.02])
def test_angle_is_true(rng, rpm, wander):
    shaft = WanderingShaft.of(rng, rpm, wander=wander)
    times = sample_times()
    (stretch,) = shaft_turns(times, mend_marks(shaft.marks(10.0)))
    # half a thousandth of a degree at the wander of a steady throttle
    assert np.abs(error_of(stretch, shaft, times)).max() < 5e-4 / 360 * max(wander / 0.005, 1)


@pytest.mark.parametrize("rpm", [3500, 8500])
@pytest.mark.parametrize("fastest", [2.0, 5.0])
def test_a_cubic_beats_a_straight_line(rng, rpm, fastest):
    """K. R. Fyfe and E. D. S. Munck, "Analysis of computed order tracking", MSSP 11 (1997) 187-205."""
    shaft = WanderingShaft.of(rng, rpm, fastest=fastest)
    times = sample_times()
    mended = mend_marks(shaft.marks(10.0))
    (stretch,) = shaft_turns(times, mended)
    truth = shaft.turns(times[stretch.start : stretch.stop])
    straight = np.interp(times[stretch.start : stretch.stop], mended.times, mended.turns)
    line = straight - truth - np.rint(np.mean(straight - truth))
    cubic = error_of(stretch, shaft, times)
    assert np.sqrt(np.mean(cubic**2)) < 0.02 * np.sqrt(np.mean(line**2))
    assert np.abs(cubic).max() < 0.1 * np.abs(line).max()


@pytest.mark.parametrize("missed", [1, 5, 10])
def test_missed_marks_are_bridged(rng, missed):
    shaft = WanderingShaft.of(rng, 5200)
    times = sample_times()
    marks = np.delete(shaft.marks(10.0), range(400, 400 + missed))
    (stretch,) = shaft_turns(times, mend_marks(marks))
    # over ten turns (0.12 s) a speed that wanders with periods of half a second is less well known
    limit_deg = {1: 0.001, 5: 0.05, 10: 0.5}[missed]
    assert np.abs(error_of(stretch, shaft, times)).max() < limit_deg / 360


def test_damaged_marks_give_the_same_angle(rng):
    shaft = WanderingShaft.of(rng, 5200)
    times = sample_times()
    raw, _, _ = damaged_marks(rng, shaft.marks(10.0))
    (stretch,) = shaft_turns(times, mend_marks(raw))
    assert np.abs(error_of(stretch, shaft, times)).max() < 1e-3 / 360


@pytest.mark.parametrize(("start", "end"), [(3000, 6000), (9000, 4000)])
def test_a_throttle_ramp(start, end):
    shaft = WanderingShaft(start / 60, ramp=(end - start) / 60 / 10)
    times = sample_times()
    (stretch,) = shaft_turns(times, mend_marks(shaft.marks(10.0)))
    assert np.abs(error_of(stretch, shaft, times)).max() < 1e-2 / 360


@pytest.mark.parametrize("places", [(0.0, 0.42), (0.0, 0.14, 0.28, 0.42, 0.56, 0.70, 0.84)])
def test_several_marks_a_turn(rng, places):
    shaft = WanderingShaft.of(rng, 5200)
    times = sample_times()
    (stretch,) = shaft_turns(times, mend_marks(shaft.marks(10.0, places), len(places)))
    assert np.abs(error_of(stretch, shaft, times)).max() < 0.02 / 360


@pytest.mark.parametrize("late", [0.0, 0.013, 0.2])
def test_whole_revolutions_inside_the_marks(rng, late):
    shaft = WanderingShaft.of(rng, 5200)
    times = sample_times()
    marks = shaft.marks(10.0)
    marks = marks[marks > late]
    (stretch,) = shaft_turns(times, mend_marks(marks))
    used = times[stretch.start : stretch.stop]
    assert marks[0] <= used[0]
    assert used[-1] <= marks[-1]
    # one sample more would be the first of another revolution
    turned = stretch.turns[-1] - stretch.turns[0]
    step = np.diff(stretch.turns).max()
    assert 0 < np.ceil(turned) - turned <= step * (1 + 1e-9)
    # at most one revolution is left at each end
    assert np.ceil(turned) >= marks.size - 3


def test_irregular_samples_need_no_resampling(rng):
    shaft = WanderingShaft.of(rng, 5200)
    times = np.sort(rng.uniform(0, 10, 9000))
    (stretch,) = shaft_turns(times, mend_marks(shaft.marks(10.0)))
    assert np.abs(error_of(stretch, shaft, times)).max() < 1e-3 / 360


def test_a_break_makes_two_stretches():
    marks = np.concatenate((np.arange(80) / 80, 79 / 80 + 3.5 / 80 + np.arange(80) / 80))
    times = sample_times(2.0)
    first, second = shaft_turns(times, mend_marks(marks))
    assert times[first.stop - 1] <= marks[79]
    assert times[second.start] >= marks[80]
    # the mark is angle 0 in each: whole numbers at the marks
    for stretch in (first, second):
        inside = (marks >= times[stretch.start]) & (marks <= times[stretch.stop - 1])
        at_marks = np.interp(marks[inside], times[stretch.start : stretch.stop], stretch.turns)
        np.testing.assert_allclose(at_marks, np.rint(at_marks), atol=1e-9)


def test_marks_outside_the_samples_are_refused():
    mended = mend_marks(100 + np.arange(50) / 80)
    with pytest.raises(InputError, match="share no whole revolution"):
        shaft_turns(sample_times(), mended)
