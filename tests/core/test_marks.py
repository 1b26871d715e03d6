"""Marks put right: counts and turns against the truth of a closed-form shaft."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.core.marks import mend_marks
from balancer.core.shaft import shaft_turns
from balancer.errors import InputError
from tests.synthetic import WanderingShaft, damaged_marks

SPEEDS = [3500, 5200, 8500]


@pytest.fixture
def rng():
    return np.random.default_rng(20)


def assert_turns_true(mended, shaft, *, within=1e-9):
    """Turns count from the first mark; the truth differs by one whole number for all of them."""
    truth = shaft.turns(mended.times)
    offset = round(truth[0] - mended.turns[0])
    np.testing.assert_allclose(mended.turns + offset, truth, atol=within)


@pytest.mark.parametrize("rpm", SPEEDS)
def test_sound_marks_stay_as_they_are(rng, rpm):
    shaft = WanderingShaft.of(rng, rpm)
    marks = shaft.marks(10.0)
    mended = mend_marks(marks)
    assert (mended.missed, mended.doubled, mended.breaks.size) == (0, 0, 0)
    np.testing.assert_array_equal(mended.times, marks)
    assert_turns_true(mended, shaft)
    assert mended.zero_known
    assert mended.trouble == 0


@pytest.mark.parametrize("rpm", SPEEDS)
@pytest.mark.parametrize("share", [0.002, 0.01, 0.05])
def test_double_and_missed_marks_are_counted_and_mended(rng, rpm, share):
    shaft = WanderingShaft.of(rng, rpm)
    marks = shaft.marks(10.0)
    raw, missed, doubled = damaged_marks(rng, marks, doubled=share, missed=share)
    mended = mend_marks(raw)
    assert (mended.missed, mended.doubled) == (missed, doubled)
    assert set(mended.times) <= set(marks)
    assert_turns_true(mended, shaft)
    assert mended.trouble == pytest.approx((missed + doubled) / mended.times.size)


def even(turns=60, frequency=80.0):
    """A steady shaft: damage is put in by hand."""
    return np.arange(turns) / frequency


def with_second_edge(marks, index, after):
    """A second edge, `after` of a turn later (or earlier when negative)."""
    spacing = marks[1] - marks[0]
    return np.sort(np.append(marks, marks[index] + after * spacing))


DAMAGE = {
    # name: (raw marks, missed, doubled, number of marks kept)
    "bounce of the first mark": (with_second_edge(even(), 0, 0.03), 0, 1, 60),
    "bounce of the last mark": (with_second_edge(even(), 59, 0.03), 0, 1, 60),
    "bounce before the second mark": (with_second_edge(even(), 1, -0.03), 0, 1, 60),
    "second edge a third of a turn late": (with_second_edge(even(), 30, 0.33), 0, 1, 60),
    "second edge half a turn late": (with_second_edge(even(), 30, 0.5), 0, 1, 60),
    "second edge shortly before the next": (with_second_edge(even(), 30, 0.95), 0, 1, 60),
    "two extra edges at one mark": (
        with_second_edge(with_second_edge(even(), 30, 0.03), 30, 0.06), 0, 2, 60,
    ),
    "doubles at neighbours": (with_second_edge(with_second_edge(even(), 30, 0.04), 31, 0.04), 0, 2, 60),
    "one missed": (np.delete(even(), 30), 1, 0, 59),
    "two missed in a row": (np.delete(even(), [30, 31]), 2, 0, 58),
    "ten missed in a row": (np.delete(even(), range(30, 40)), 10, 0, 50),
    "every other of six missed": (np.delete(even(), [30, 32, 34]), 3, 0, 57),
    "second mark missed": (np.delete(even(), 1), 1, 0, 59),
    "missed beside a double": (
        np.delete(with_second_edge(even(), 30, 0.04), 32), 1, 1, 59,
    ),
    "unsorted": (even()[::-1].copy(), 0, 0, 60),
    "the same edge twice": (np.sort(np.append(even(), even()[7])), 0, 0, 60),
}  # fmt: skip


@pytest.mark.parametrize(("raw", "missed", "doubled", "kept"), DAMAGE.values(), ids=DAMAGE.keys())
def test_damage_on_a_steady_shaft(raw, missed, doubled, kept):
    mended = mend_marks(raw)
    assert (mended.missed, mended.doubled, mended.breaks.size) == (missed, doubled, 0)
    assert mended.times.size == kept
    # every mark kept is a true one, and stands for its own turn
    places = mended.times * 80.0
    np.testing.assert_allclose(mended.turns, places - places[0], atol=1e-9)


@pytest.mark.parametrize("share", [0.1, 0.2])
@pytest.mark.parametrize("seed", range(5))
def test_many_marks_missed_at_random(seed, share):
    rng = np.random.default_rng(seed)
    shaft = WanderingShaft.of(rng, 5200)
    marks = shaft.marks(10.0)
    gone = rng.random(marks.size) < share
    mended = mend_marks(marks[~gone])
    inner = gone[np.flatnonzero(~gone)[0] : np.flatnonzero(~gone)[-1]]
    assert mended.missed == np.count_nonzero(inner)
    assert_turns_true(mended, shaft)


@pytest.mark.parametrize(("start", "end"), [(3000, 6000), (9000, 3000), (5000, 5400)])
def test_a_throttle_ramp_is_followed(rng, start, end):
    shaft = WanderingShaft(start / 60, ramp=(end - start) / 60 / 10)
    raw, missed, doubled = damaged_marks(rng, shaft.marks(10.0))
    mended = mend_marks(raw)
    assert (mended.missed, mended.doubled, mended.breaks.size) == (missed, doubled, 0)
    assert_turns_true(mended, shaft)


def test_a_jump_of_speed_is_not_a_missed_mark(rng):
    # from 50 to 58 rev/s between two marks: 15 %, more than any throttle does in a turn
    marks = np.concatenate((np.arange(300) / 50, 299 / 50 + np.arange(1, 300) / 58))
    mended = mend_marks(marks)
    assert (mended.missed, mended.doubled, mended.breaks.size) == (0, 0, 0)
    np.testing.assert_array_equal(mended.turns, np.arange(599))


def test_a_gap_of_no_whole_number_of_turns_is_a_break():
    marks = np.concatenate((even(), even()[-1] + 3.5 / 80.0 + even()))
    mended = mend_marks(marks)
    np.testing.assert_array_equal(mended.breaks, [60])
    assert mended.trouble > 0


@pytest.mark.parametrize("jitter", [2e-4, 1e-3, 5e-3])
@pytest.mark.parametrize("marks_per_rev", [1, 2])
def test_jitter_is_true(rng, jitter, marks_per_rev):
    shaft = WanderingShaft.of(rng, 5200)
    marks = shaft.marks(20.0, np.arange(marks_per_rev) / marks_per_rev)
    mended = mend_marks(marks + jitter * rng.normal(size=marks.size) / shaft.speed(marks), marks_per_rev)
    # a median of some 1,700 scatters by 2.8 % in normal noise; neighbours are dependent
    assert mended.jitter == pytest.approx(jitter, rel=0.12)


def test_no_jitter_on_sound_marks(rng):
    # 0.01 deg: what the wander itself leaves in a cubic through four neighbours
    assert mend_marks(WanderingShaft.of(rng, 5200).marks(10.0)).jitter < 0.01 / 360


PAIRS = [0.05, 0.10, 0.20, 0.30, 0.40, 0.60, 0.75, 0.90, 0.97]


@pytest.mark.parametrize("apart", PAIRS)
def test_two_marks_on_the_rotor_where_one_was_announced(rng, apart):
    marks = WanderingShaft.of(rng, 5200).marks(10.0, (0.0, apart))
    with pytest.raises(InputError, match="marks come in pairs"):
        mend_marks(marks)


@pytest.mark.parametrize("apart", PAIRS)
def test_two_marks_on_the_rotor_with_damage(rng, apart):
    marks = WanderingShaft.of(rng, 5200).marks(10.0, (0.0, apart))
    marks = np.delete(marks, rng.choice(marks.size, marks.size // 100, replace=False))
    with pytest.raises(InputError, match="marks come in pairs"):
        mend_marks(marks)


SEVERAL = {
    # name: places of the marks in revolutions; the space after the last one is the widest
    "two": (0.0, 0.42),
    "two, as uneven as may be": (0.0, 0.38),
    "three": (0.0, 0.30, 0.62),
    "six arms of tape": (0.0, 0.16, 0.32, 0.48, 0.64, 0.80),
    "seven magnets": tuple(k * 0.14 for k in range(7)),
    "fourteen magnets": tuple(k * 0.0700 for k in range(14)),
    "uneven by a fifth": (0.0, 0.22, 0.45, 0.70),
}


@pytest.mark.parametrize("places", SEVERAL.values(), ids=SEVERAL.keys())
@pytest.mark.parametrize("share", [0.0, 0.01])
@pytest.mark.parametrize("late", [0.0, 0.37])
def test_several_marks_a_turn(rng, places, share, late):
    """Angle 0 is the mark after the widest space, whichever mark the recording begins with."""
    shaft = WanderingShaft.of(rng, 5200)
    marks = shaft.marks(10.0, places)
    marks = marks[marks > late / shaft.frequency]
    raw, missed, doubled = damaged_marks(rng, marks, doubled=share, missed=share)
    mended = mend_marks(raw, len(places))
    assert mended.zero_known
    assert (mended.missed, mended.doubled) == (missed, doubled)
    # a mark's place is a mean over all turns, linear between the marks of one: 1e-4 rev is 0.04 deg
    assert_turns_true(mended, shaft, within=1e-4)


@pytest.mark.parametrize(
    "places", [(0.0, 0.1), (0.0, 0.25), (0.0, 0.3), (0.0, 0.19, 0.43, 0.64), (0.0, 0.1, 0.5)]
)
def test_marks_too_uneven_to_be_counted_are_refused(rng, places):
    marks = WanderingShaft.of(rng, 5200).marks(10.0, places)
    with pytest.raises(InputError, match=f"do not come {len(places)} to a turn evenly enough"):
        mend_marks(marks, len(places))


@pytest.mark.parametrize("marks_per_rev", [2, 3, 7])
def test_evenly_spaced_marks_leave_the_zero_open(rng, marks_per_rev):
    shaft = WanderingShaft.of(rng, 5200)
    marks = shaft.marks(10.0, np.arange(marks_per_rev) / marks_per_rev)
    mended = mend_marks(marks, marks_per_rev)
    assert not mended.zero_known
    # speed is right all the same
    assert mended.turns[-1] - mended.turns[0] == pytest.approx(np.ptp(shaft.turns(mended.times)), abs=1e-4)


def test_a_zero_that_slips_to_another_mark_is_told():
    # after 2 s the marks go on half a turn early, one space taken for another: no space looks wrong by itself
    marks = WanderingShaft(80.0).marks(4.0, (0.0, 0.42))
    late = marks[marks > 2.01]
    slipped = np.concatenate((marks[marks <= 2.001], late - (late[0] - 2.0 - 0.5 / 80.0)))
    assert mend_marks(marks, 2).zero_known
    assert not mend_marks(slipped, 2).zero_known


@pytest.mark.parametrize(("count", "marks_per_rev"), [(0, 1), (1, 1), (2, 1), (4, 2), (14, 7)])
def test_too_few_marks(count, marks_per_rev):
    marks = even(count)
    with pytest.raises(InputError, match=f"only {count} marks were seen, too few to count turns"):
        mend_marks(marks, marks_per_rev)


def times_from_steps(steps):
    return np.cumsum(np.array(steps))


ANY_TIMES = st.one_of(
    st.lists(st.floats(1e-9, 1e3), max_size=60).map(times_from_steps),
    st.lists(st.sampled_from([0.01, 0.0101, 0.02, 0.001, 0.005, 1.0]), max_size=60).map(times_from_steps),
    st.lists(st.floats(-1e3, 1e3), max_size=60).map(lambda v: np.array(sorted(v), dtype=float)),
)


@given(ANY_TIMES, st.integers(1, 5))
def test_any_times_give_marks_or_a_refusal(times, marks_per_rev):
    try:
        mended = mend_marks(times, marks_per_rev)
    except InputError:
        return
    assert np.all(np.diff(mended.times) > 0)
    assert np.all(np.isfinite(mended.turns))
    assert np.all(np.diff(mended.turns) > 0)
    assert mended.missed >= 0
    assert mended.doubled >= 0
    assert mended.jitter >= 0
    assert set(mended.times) <= set(times)
    assert math.isfinite(mended.trouble)


@given(ANY_TIMES, st.integers(1, 5))
def test_any_marks_give_an_angle_or_a_refusal(marks, marks_per_rev):
    times = np.linspace(0.0, 2.0, 400)
    try:
        stretches = shaft_turns(times, mend_marks(marks, marks_per_rev))
    except InputError:
        return
    for stretch in stretches:
        assert 0 <= stretch.start < stretch.stop <= times.size
        assert stretch.turns.size == stretch.stop - stretch.start
        assert np.all(np.diff(stretch.turns) > 0)
